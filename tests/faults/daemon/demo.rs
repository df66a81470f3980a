//! The demonstration is what README promises: no network, no hardware.

use std::process::Command;

fn soakmist(arguments: &[&str]) -> (i32, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_soakmist"));
    let output = command.args(arguments).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let errors = String::from_utf8(output.stderr).unwrap();
    (output.status.code().unwrap_or(-1), text + &errors)
}

#[cfg(feature = "demo")]
#[test]
fn embedded_demonstration_waters_a_day_and_leaves_every_valve_closed() {
    let (code, said) = soakmist(&["demo", "--speed", "2880"]);
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("every valve has confirmed that it is closed"));
    for zone in ["square", "nets", "bowling-green"] {
        let of_zone = |what: &str| {
            let lines = said.lines().filter(|line| line.contains(zone));
            lines.filter(|line| line.contains(what)).count()
        };
        let (opened, closed) = (of_zone("opens for"), of_zone("closed after"));
        assert!(opened >= 3, "{zone} opened {opened} times\n{said}");
        assert!(closed >= opened, "{zone}: {opened} and {closed}\n{said}");
    }
    assert!(!said.contains("ALARM"), "{said}");
    assert!(!said.contains("no weather is known"), "{said}");
}

#[cfg(not(feature = "demo"))]
#[test]
fn without_the_demonstration_built_in_the_command_says_how_to_get_it() {
    let (code, said) = soakmist(&["demo"]);
    assert_eq!(code, 2);
    assert!(said.contains("--features demo -- demo"), "{said}");
}
