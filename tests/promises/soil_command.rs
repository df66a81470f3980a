//! `soakmist soil`.

use crate::command::{assert_fits_80_columns, json, soakmist};

const LOAM: &str = "\
loam: sand 40 %, silt 40 %, clay 20 %, organic matter 2.5 %

Water the soil holds      share  in 10 mm  in 100 mm
  saturation              0.459    4.6 mm    45.9 mm  all pores full
  field capacity          0.280    2.8 mm    28.0 mm  drained, about a day later
  wilting point           0.137    1.4 mm    13.7 mm  roots get no more out
  available               0.143    1.4 mm    14.3 mm  between the last two

Water the soil takes in
  saturated conductivity Ks   15.5 mm/h (0.61 in/h)
  Green-Ampt conductivity K    3.4 mm/h (0.13 in/h), suction 89 mm, for plans
  basic intake, level ground  10 to 20 mm/h (0.39 to 0.79 in/h)

Ks and K come from different measurements (Saxton & Rawls 2006; Rawls,
Brakensiek & Miller 1983) and do not mix: Ks is for soil with every pore full of
water, K, with its suction, for water going down into soil that keeps some of
its air. Basic intake is a range from a manual of irrigation (Brouwer et al.
1988), to compare with. A plan takes K, less on a slope, for how long sprinklers
may run, and none of the others. A rate measured on the spot beats every figure
here: infiltration-rate under soil.
note: a plan relies on 1.25 mm in 10 mm of loam, by the soil table whose soil
      dries first, until field capacity and wilting point are measured and
      written under soil

For the site file, under the zone:
  soil = { sand = \"40 %\", clay = \"20 %\", organic-matter = \"2.5 %\" }
";

#[test]
fn a_loam_is_described_for_a_person() {
    // Figures: Saxton & Rawls 2006, Table 3, loam (14, 28, 46 %; 15.5 mm/h);
    // Rawls, Brakensiek & Miller 1983, Table 2; Brouwer et al. 1988, Annex 2.
    let said = soakmist(&[
        "soil",
        "--sand",
        "40",
        "--clay",
        "20",
        "--organic-matter",
        "2.5",
    ]);
    assert_eq!((said.code, said.err.as_str()), (0, ""));
    assert_eq!(said.out, LOAM);
}

#[test]
fn every_class_is_described_within_80_columns_and_tells_what_it_assumes() {
    for class in [
        "sand",
        "loamy sand",
        "sandy loam",
        "loam",
        "silt loam",
        "silt",
        "sandy clay loam",
        "Clay-Loam",
        "silty_clay_loam",
        "sandy clay",
        "silty clay",
        "clay",
    ] {
        let said = soakmist(&["soil", "--texture", class]);
        assert_eq!(said.code, 0, "{}", said.err);
        assert_fits_80_columns(&said.out);
        assert!(
            said.out.contains("sand and clay are typical of the class"),
            "{}",
            said.out
        );
    }
    assert!(
        soakmist(&["soil", "--texture", "silt"])
            .out
            .contains("those of silt loam stand in")
    );
}

#[test]
fn json_says_the_same_with_units_in_the_names() {
    let soil = json(&["soil", "--sand", "40", "--clay", "20", "--format", "json"]);
    assert_eq!(soil["schema"], "soakmist-soil/1");
    assert_eq!(soil["texture"], "loam");
    // Saxton & Rawls 2006 by an independent implementation, 6 digits.
    for (key, expected) in [
        ("wilting_point", 0.137_024),
        ("field_capacity", 0.279_61),
        ("saturation", 0.459_478),
        ("saturated_conductivity_mm_per_h", 15.475_66),
    ] {
        let actual = soil[key].as_f64().expect("a number");
        assert!(
            (actual - expected).abs() <= 1e-5 * expected,
            "{key}: {actual}"
        );
    }
    let sand = json(&["soil", "--texture", "sand", "--format", "json"]);
    assert!(sand["basic_intake"]["high_mm_per_h"].is_null());
}

#[test]
fn wrong_input_is_named_with_what_is_wrong_and_ends_with_code_2() {
    for (arguments, told) in [
        (
            &["soil", "--sand", "80", "--clay", "30"][..],
            "sand 80 % and clay 30 % make 110 %",
        ),
        (&["soil", "--sand", "-5", "--clay", "30"], "sand is -5 %"),
        (&["soil", "--sand", "NaN", "--clay", "30"], "sand is NaN %"),
        (&["soil", "--sand", "40"], "--clay"),
        (&["soil"], "give --sand and --clay"),
        (
            &["soil", "--texture", "sandy laom"],
            "Did you mean \"sandy loam\"?",
        ),
        (
            &["soil", "--texture", "loam", "--sand", "40", "--clay", "20"],
            "cannot be used with",
        ),
        (
            &[
                "soil",
                "--sand",
                "40",
                "--clay",
                "20",
                "--organic-matter",
                "101",
            ],
            "organic matter",
        ),
        (
            &[
                "soil",
                "--sand",
                "99",
                "--clay",
                "0",
                "--organic-matter",
                "0",
            ],
            "measure",
        ),
    ] {
        let said = soakmist(arguments);
        assert_eq!(said.code, 2, "{arguments:?}: {}", said.err);
        let words: Vec<&str> = said.err.split_whitespace().collect();
        assert!(
            words.join(" ").contains(told),
            "{arguments:?}: {}",
            said.err
        );
        assert_eq!(said.out, "");
    }
}

#[test]
fn soils_beyond_the_data_are_described_with_a_warning() {
    let heavy = soakmist(&["soil", "--sand", "20", "--clay", "70"]);
    assert!(heavy.out.contains("more than 60 % clay"), "{}", heavy.out);
    let peaty = soakmist(&[
        "soil",
        "--sand",
        "60",
        "--clay",
        "10",
        "--organic-matter",
        "12",
    ]);
    assert!(
        peaty.out.contains("more than 8 % organic matter"),
        "{}",
        peaty.out
    );
    assert_fits_80_columns(&peaty.out);
}
