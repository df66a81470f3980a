//! `soakmist catch-cans`.

use std::io::Write as _;

use crate::command::{assert_fits_80_columns, json, soakmist, soakmist_reading};

const SIXTEEN: &str = "12,10,9,14,11,8,13,10,12,9,11,10,7,13,12,11";

const PAGE: &str = "\
16 cans, mean 10.8 mm (0.42 in) in 30 min

  precipitation rate             21.5 mm/h (0.85 in/h)
  distribution uniformity DU_lq  0.77  driest quarter / mean
  wettest quarter                1.21  times the mean
  Christiansen's uniformity CU   0.86  1 is perfect
  scheduling multiplier          1.16  gross depth for 1 of net depth

Cans by share of the mean
  under 50 %        0
  50 to 70 %        1  #
  70 to 90 %        3  ###
  90 to 110 %       6  ######
  110 to 130 %      5  #####
  130 % and more    1  #

Good enough: the driest quarter gets 77 % of the mean, and 65 % is the least
that a lawn's sprinklers should reach (US EPA guideline for irrigation audits).

For the site file, under the zone:
  sprinkler.precipitation-rate = \"21.5 mm/h\"
  sprinkler.distribution-uniformity = 0.77
";

#[test]
fn sixteen_cans_are_judged_for_a_person() {
    // By hand: mean 10.75 mm in half an hour, DU_lq 0.76744, CU 0.85756, SM
    // 1.16216 (worked beside the formulas in tests/published).
    let said = soakmist(&["catch-cans", "--mm", SIXTEEN, "--minutes", "30"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""));
    assert_eq!(said.out, PAGE);
}

#[test]
fn cans_are_drawn_as_they_stand() {
    let said = soakmist(&[
        "catch-cans",
        "--mm",
        SIXTEEN,
        "--minutes",
        "30",
        "--columns",
        "4",
    ]);
    let map = "\
Cans as they stand [mm]: - driest quarter, + wettest quarter
 12.0+ 10.0   9.0- 14.0+
 11.0   8.0- 13.0+ 10.0
 12.0+  9.0- 11.0  10.0
  7.0- 13.0+ 12.0+ 11.0
";
    assert!(said.out.contains(map), "{}", said.out);
    let many = vec!["123.4"; 39].join(",");
    assert_fits_80_columns(&soakmist(&["catch-cans", "--mm", &many, "--columns", "13"]).out);
    assert_fits_80_columns(&soakmist(&["catch-cans", "--mm", &vec!["1"; 400].join(",")]).out);
}

#[test]
fn inches_millilitres_and_files_give_what_millimetres_give() {
    let reference = json(&[
        "catch-cans",
        "--mm",
        SIXTEEN,
        "--minutes",
        "30",
        "--format",
        "json",
    ]);
    let readings: Vec<f64> = SIXTEEN
        .split(',')
        .map(|can| can.parse().expect("a number"))
        .collect();
    let list = |factor: f64| {
        readings
            .iter()
            .map(|mm| (mm * factor).to_string())
            .collect::<Vec<_>>()
            .join(",")
    };
    let inches = list(1.0 / 25.4);
    // A mouth of 110 mm: 1 mm stands for π/4 × 11² cm² × 0.1 cm = 9.50332 mL.
    let millilitres = list(9.503_317_777);
    let mut file = tempfile::NamedTempFile::new().expect("a file");
    writeln!(file, "can,catch").expect("written");
    for (index, can) in readings.iter().enumerate() {
        writeln!(file, "{index},{can}").expect("written");
    }
    let path = file.path().to_str().expect("a path").to_owned();
    for source in [
        &["--in", &inches][..],
        &["--ml", &millilitres, "--diameter-mm", "110"],
        &[&path, "--column", "catch"],
    ] {
        let mut arguments = vec!["catch-cans", "--minutes", "30", "--format", "json"];
        arguments.extend(source);
        let test = json(&arguments);
        for key in [
            "mean_mm",
            "precipitation_rate_mm_per_h",
            "distribution_uniformity",
        ] {
            let (one, other) = (
                test[key].as_f64().expect("a number"),
                reference[key].as_f64(),
            );
            assert!(
                (one - other.expect("a number")).abs() < 1e-6,
                "{source:?} {key}: {one}"
            );
        }
        if source[0] == "--in" {
            // In the units of the readings.
            let line = test["site_file"][0].as_str().expect("a line");
            assert!(line.ends_with(" in/h\""), "{line}");
        } else {
            assert_eq!(test["site_file"], reference["site_file"]);
        }
    }
    let piped = soakmist_reading(
        &["catch-cans", "-", "--minutes", "30"],
        &SIXTEEN.replace(',', "\n"),
    );
    assert_eq!(piped.out, PAGE);
}

#[test]
fn uneven_sprinklers_are_told_what_to_mend() {
    let uneven = soakmist(&[
        "catch-cans",
        "--mm",
        "4,5,6,7,10,12,14,16",
        "--minutes",
        "20",
    ]);
    assert!(uneven.out.contains("Too uneven"), "{}", uneven.out);
    let middling = soakmist(&[
        "catch-cans",
        "--mm",
        "5,6,8,9,10,11,12,13",
        "--minutes",
        "20",
    ]);
    assert!(
        middling.out.contains("Below the target"),
        "{}",
        middling.out
    );
    let few = soakmist(&["catch-cans", "--mm", "9,10,0,11,12", "--minutes", "20"]);
    for told in [
        "5 cans tell little",
        "1 of the cans caught nothing",
        "four does not divide",
    ] {
        assert!(few.out.contains(told), "{}", few.out);
    }
    let slip = soakmist(&["catch-cans", "--mm", "95,80,110,100", "--minutes", "15"]);
    assert!(
        slip.out.contains("check the unit of the readings"),
        "{}",
        slip.out
    );
    for page in [uneven.out, middling.out, few.out, slip.out] {
        assert_fits_80_columns(&page);
    }
}

#[test]
fn a_hose_is_measured_with_a_bucket() {
    // By hand: 10 L in 48 s are 12.5 L/min, on 25 m² 30 mm/h.
    let said = soakmist(&[
        "catch-cans",
        "--bucket-l",
        "10",
        "--seconds",
        "48",
        "--area-m2",
        "25",
    ]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.starts_with(
        "  flow                 12.5 L/min (3.30 gpm)\n  \
         rate on 25.0 m²      30.0 mm/h (1.18 in/h)\n  \
         1 mm takes           2 min 0 s\n"
    ));
    assert!(said.out.contains("sprinkler.flow = \"12.5 L/min\""));
    assert_fits_80_columns(&said.out);
    let test = json(&[
        "catch-cans",
        "--bucket-gal",
        "5",
        "--seconds",
        "60",
        "--area-ft2",
        "500",
        "--format",
        "json",
    ]);
    // 96.25 × 5 gpm/500 ft² = 0.9625 in/h = 24.4475 mm/h.
    let rate = test["precipitation_rate_mm_per_h"]
        .as_f64()
        .expect("a number");
    assert!((rate - 24.4475).abs() < 1e-9);
}

#[test]
fn wrong_input_is_named_and_ends_with_its_exit_code() {
    for (arguments, told, code) in [
        (&["catch-cans", "--mm", "1,2,3"][..], "needs 4 cans", 2),
        (&["catch-cans", "--mm", "1,2,x,4"], "invalid value", 2),
        (&["catch-cans", "--mm=-1,2,3,4"], "'-1'", 2),
        (&["catch-cans", "--mm", "1,2,NaN,4"], "'NaN'", 2),
        (&["catch-cans", "--mm", "0,0,0,0"], "was the water on?", 2),
        (
            &["catch-cans", "--mm", "1,2,3,4", "--minutes", "0"],
            "time of the test is 0",
            2,
        ),
        (
            &["catch-cans", "--mm", "1,2,3,4", "--in", "1,2,3,4"],
            "cannot be used with",
            2,
        ),
        (
            &["catch-cans", "--mm", "1,2,3,4", "--seconds", "48"],
            "goes with --bucket-l",
            2,
        ),
        (&["catch-cans", "--ml", "1,2,3,4"], "--diameter-mm", 2),
        (
            &["catch-cans", "--ml", "1,2,3,4", "--diameter-mm", "0"],
            "diameter of the mouth",
            2,
        ),
        (
            &["catch-cans", "--bucket-l", "10", "--seconds", "0"],
            "time to fill the bucket",
            2,
        ),
        (
            &["catch-cans", "no/such/file"],
            "cannot open no/such/file",
            3,
        ),
        (&["catch-cans"], "required", 2),
    ] {
        let said = soakmist(arguments);
        assert_eq!(said.code, code, "{arguments:?}: {}", said.err);
        assert!(said.err.contains(told), "{arguments:?}: {}", said.err);
        assert_eq!(said.out, "");
    }
    let said = soakmist_reading(&["catch-cans", "-"], "12\n1o\n");
    assert_eq!(said.code, 2);
    assert!(
        said.err
            .contains("standard input, line 2: \"1o\" is no number"),
        "{}",
        said.err
    );
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    use std::process::{Command, Stdio};
    let mut child = Command::new(env!("CARGO_BIN_EXE_soakmist"))
        .args(["catch-cans", "--mm", SIXTEEN])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary runs");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("the binary ends");
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    assert!(output.status.success());
}
