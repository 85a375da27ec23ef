//! `coldkick gas` as a user meets it.

#[path = "common/command.rs"]
mod command;

use command::{Outcome, binary, outcome};

fn gas(arguments: &[&str]) -> (i32, String, String) {
    let Outcome { code, out, err } = outcome(binary().arg("gas").args(arguments));
    (code, out, err)
}

fn json(arguments: &[&str]) -> serde_json::Value {
    let mut all = arguments.to_vec();
    all.extend(["--format", "json"]);
    let (code, out, err) = gas(&all);
    assert_eq!(code, 0, "{err}");
    serde_json::from_str(&out).expect("one JSON value")
}

#[track_caller]
fn close(value: &serde_json::Value, reference: f64, tolerance: f64) {
    let value = value.as_f64().expect("a number");
    assert!(
        ((value - reference) / reference).abs() <= tolerance,
        "{value} against {reference}"
    );
}

/// Bad input: exit 2, nothing on standard output, the flag named.
#[track_caller]
fn refused(arguments: &[&str], mentions: &[&str]) {
    let (code, out, err) = gas(arguments);
    assert_eq!(code, 2, "{arguments:?}: {err}");
    assert_eq!(out, "", "{arguments:?}");
    for word in mentions {
        assert!(
            err.contains(word),
            "{arguments:?} does not say {word:?}: {err}"
        );
    }
}

/// A pure number has no unit in its range either.
#[test]
fn a_vapour_fraction_beyond_one_is_refused_without_a_unit() {
    let (code, _, err) = gas(&["--quality", "1.5", "--temperature", "280 K"]);
    assert_eq!(code, 2);
    let flat = err.split_whitespace().collect::<Vec<_>>().join(" ");
    let words = "vapour fraction 1.5 is outside the model's range 0 .. 1 help:";
    assert!(flat.contains(words), "{err}");
}

#[test]
fn json_has_exactly_the_documented_keys() {
    let state = json(&["--temperature", "300 K", "--pressure", "20 bara"]);
    let mut keys: Vec<&str> = state
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    keys.sort_unstable();
    assert_eq!(
        keys,
        [
            "cp_j_kg_k",
            "cv_j_kg_k",
            "density_kg_m3",
            "enthalpy_j_kg",
            "entropy_j_kg_k",
            "internal_energy_j_kg",
            "liquid_fraction",
            "phase",
            "pressure_pa",
            "solid_fraction",
            "sound_speed_m_s",
            "temperature_k",
            "vapour_fraction"
        ]
    );
}

/// The row at 220 K and 5 bar of the single-phase data set.
#[test]
fn gas_of_the_published_table() {
    let state = json(&["--temperature", "220 K", "--pressure", "500000 Pa"]);
    assert_eq!(state["phase"], "gas");
    close(&state["density_kg_m3"], 12.973_687_34, 1e-8);
    close(&state["internal_energy_j_kg"], 395_364.879_4, 1e-8);
    close(&state["enthalpy_j_kg"], 433_904.423_8, 1e-8);
    close(&state["entropy_j_kg_k"], 2_161.158_414, 1e-8);
    close(&state["cp_j_kg_k"], 895.216_346_3, 1e-8);
    close(&state["cv_j_kg_k"], 626.252_761_2, 1e-8);
    close(&state["sound_speed_m_s"], 225.334_416_5, 1e-8);
    assert_eq!(state["solid_fraction"], 0.0);
    assert_eq!(state["vapour_fraction"], 1.0);
}

/// Saturated liquid and vapour at 217 K of the saturation data set.
#[test]
fn saturated_phases_have_single_phase_properties() {
    let liquid = json(&["--temperature", "217 K", "--quality", "0"]);
    assert_eq!(liquid["phase"], "liquid");
    close(&liquid["pressure_pa"], 527_215.953_2, 1e-8);
    close(&liquid["density_kg_m3"], 1_176.998_015, 1e-8);
    close(&liquid["cp_j_kg_k"], 1_954.152_683, 1e-8);
    close(&liquid["sound_speed_m_s"], 972.892_273_8, 1e-8);
    let vapour = json(&["--temperature", "217 K", "--quality", "100 %"]);
    assert_eq!(vapour["phase"], "gas");
    close(&vapour["density_kg_m3"], 13.995_445_6, 1e-8);
    close(&vapour["cv_j_kg_k"], 630.348_795_1, 1e-8);
}

#[test]
fn a_mixture_has_fractions_and_no_specific_heats() {
    let state = json(&["--temperature", "20 degC", "--quality", "0.25"]);
    assert_eq!(state["phase"], "liquid+vapour");
    close(&state["vapour_fraction"], 0.25, 1e-12);
    close(&state["liquid_fraction"], 0.75, 1e-12);
    for key in ["cp_j_kg_k", "cv_j_kg_k", "sound_speed_m_s"] {
        assert!(state[key].is_null(), "{key}");
    }
}

/// 16 g at 20 degC let into one evacuated litre: the row of the adiabatic-mixing data set.
#[test]
fn adiabatic_expansion_ends_with_dry_ice() {
    let state = json(&["--density", "16 g/L", "--energy", "249117.1940739124 J/kg"]);
    assert_eq!(state["phase"], "solid+vapour");
    close(&state["temperature_k"], 214.114_109_780_082_43, 1e-8);
    close(&state["pressure_pa"], 436_725.997_515_734_2, 1e-8);
    close(&state["solid_fraction"], 0.276_912_685_730_634_5, 1e-7);
    assert_eq!(state["liquid_fraction"], 0.0);
}

/// Dry ice at 120 K and its own vapour pressure: specific heat and density of the sublimation data
/// set; a solid has no sound speed here.
#[test]
fn dry_ice() {
    let state = json(&["--temperature", "120 K", "--quality", "0"]);
    assert_eq!(state["phase"], "solid");
    close(&state["density_kg_m3"], 1_645.609_398, 1e-8);
    close(&state["cp_j_kg_k"], 978.206_116_8, 1e-8);
    assert!(state["cv_j_kg_k"].as_f64().unwrap() < 978.206_116_8);
    assert!(state["sound_speed_m_s"].is_null());
    assert_eq!(state["solid_fraction"], 1.0);
}

#[test]
fn supercritical_has_neither_liquid_nor_vapour() {
    let state = json(&["--density", "0.76 kg/L", "--temperature", "65 degC"]);
    assert_eq!(state["phase"], "supercritical");
    close(&state["pressure_pa"], 24_826_067.65, 1e-8);
    assert!(state["liquid_fraction"].is_null());
    assert!(state["vapour_fraction"].is_null());
    assert_eq!(state["solid_fraction"], 0.0);
}

/// All fifteen pairs name the state they were read from.
#[test]
fn every_pair_leads_back() {
    let flags = [
        "--temperature",
        "--pressure",
        "--density",
        "--energy",
        "--enthalpy",
    ];
    let keys = [
        ("temperature_k", "K"),
        ("pressure_pa", "Pa"),
        ("density_kg_m3", "kg/m3"),
        ("internal_energy_j_kg", "J/kg"),
        ("enthalpy_j_kg", "J/kg"),
    ];
    let check = |first: usize, second: usize, state: &serde_json::Value| {
        let text = |i: usize| format!("{} {}", state[keys[i].0], keys[i].1);
        let back = json(&[flags[first], &text(first), flags[second], &text(second)]);
        for (key, _) in keys {
            close(&back[key], state[key].as_f64().unwrap(), 1e-7);
        }
        assert_eq!(back["phase"], state["phase"]);
    };
    let gas_state = json(&["--temperature", "290 K", "--pressure", "12 bara"]);
    for first in 0..5 {
        for second in first + 1..5 {
            if (first, second) == (3, 4) {
                continue; // shared with a denser, hotter gas: see below
            }
            check(first, second, &gas_state);
        }
    }
    let mixture = json(&["--pressure", "30 bara", "--quality", "0.4"]);
    for (first, second) in [(0, 2), (1, 2), (1, 3), (1, 4), (2, 3), (2, 4)] {
        check(first, second, &mixture);
    }
    for (flag, key, unit) in [
        ("--temperature", "temperature_k", "K"),
        ("--pressure", "pressure_pa", "Pa"),
        ("--density", "density_kg_m3", "kg/m3"),
        ("--energy", "internal_energy_j_kg", "J/kg"),
        ("--enthalpy", "enthalpy_j_kg", "J/kg"),
    ] {
        let back = json(&[
            flag,
            &format!("{} {unit}", mixture[key]),
            "--quality",
            "0.4",
        ]);
        close(
            &back["temperature_k"],
            mixture["temperature_k"].as_f64().unwrap(),
            1e-8,
        );
    }
}

#[test]
fn text_answers_first() {
    let (code, out, _) = gas(&["--temperature", "20 degC", "--quality", "0.1"]);
    assert_eq!(code, 0);
    assert_eq!(
        out.lines().next(),
        Some("liquid+vapour at 20.0 degC and 57.3 bara: 90.0 % liquid, 10.0 % vapour")
    );
    let (_, out, _) = gas(&[
        "--temperature",
        "68 degF",
        "--quality",
        "0.1",
        "--units",
        "us",
    ]);
    assert!(
        out.starts_with("liquid+vapour at 68.0 degF and 831 psia"),
        "{out}"
    );
}

#[test]
fn csv_is_a_header_and_a_row() {
    let (code, out, _) = gas(&[
        "--temperature",
        "20 degC",
        "--quality",
        "0.1",
        "--format",
        "csv",
    ]);
    assert_eq!(code, 0);
    let mut reader = csv::Reader::from_reader(out.as_bytes());
    assert_eq!(reader.headers().unwrap().get(0), Some("temperature_k"));
    let row = reader.records().next().unwrap().unwrap();
    assert_eq!(row.get(6), Some(""), "no specific heat of a mixture");
    assert_eq!(row.get(9), Some("liquid+vapour"));
}

#[test]
fn a_second_state_at_one_temperature_is_told() {
    let arguments = ["--temperature", "250 K", "--enthalpy", "160 kJ/kg"];
    let (code, out, err) = gas(&arguments);
    assert_eq!(code, 0);
    assert!(out.starts_with("liquid+vapour"), "{out}");
    assert!(err.contains("warning: a denser state"), "{err}");
    let (_, _, err) = gas(&[&arguments[..], &["--quiet"]].concat());
    assert_eq!(err, "");
}

#[test]
fn pairs_that_name_two_states_name_both() {
    // Equal u and h mean equal p/rho, which the thin gas at 290 K and 12 bar shares with a gas at
    // 388 K.
    refused(
        &["--energy", "436.4 kJ/kg", "--enthalpy", "487.427 kJ/kg"],
        &["--energy", "--enthalpy", "289.99", " and 388."],
    );
    // The energy of saturated vapour has a maximum near 250 K.
    refused(
        &["--energy", "396 kJ/kg", "--quality", "1"],
        &[
            "--energy",
            "--quality",
            "does not name one state",
            " K (",
            " and ",
        ],
    );
}

#[test]
fn wrong_number_of_properties() {
    refused(&[], &["no property given", "--temperature"]);
    refused(&["--temperature", "20 degC"], &["only --temperature given"]);
    refused(
        &[
            "--temperature",
            "20 degC",
            "--pressure",
            "1 bara",
            "--density",
            "2 kg/m3",
        ],
        &[
            "--temperature, --pressure, --density given",
            "two name a state",
        ],
    );
    refused(
        &["--temperature", "20 degC", "--temperature", "21 degC"],
        &["--temperature"],
    );
}

#[test]
fn wrong_values() {
    let with = |flag: &'static str, text: &'static str| vec!["--quality", "0.5", flag, text];
    refused(
        &with("--temperature", "20"),
        &["--temperature", "has no unit"],
    );
    refused(
        &with("--temperature", "20 bara"),
        &["--temperature", "pressure"],
    );
    refused(
        &with("--temperature", "20 C"),
        &["--temperature", "did you mean `degC`"],
    );
    refused(
        &with("--temperature", "NaN K"),
        &["--temperature", "not a finite number"],
    );
    refused(
        &with("--temperature", "inf K"),
        &["--temperature", "not a finite number"],
    );
    refused(
        &with("--temperature", ""),
        &["--temperature", "nothing written"],
    );
    refused(
        &with("--temperature", "-300 degC"),
        &["--temperature", "outside", "choose a value inside"],
    );
    refused(
        &with("--temperature", "350 K"),
        &["--temperature", "outside"],
    );
    refused(
        &with("--pressure", "57 bar"),
        &["--pressure", "absolute or gauge"],
    );
    refused(
        &with("--pressure", "800 psig"),
        &["--pressure", "gauge pressure"],
    );
    refused(&with("--pressure", "-5 bara"), &["--pressure", "outside"]);
    refused(
        &with("--pressure", "5 kPa"),
        &["--pressure", "absolute or gauge"],
    );
    refused(&with("--density", "-3 kg/m3"), &["--density"]);
    refused(&with("--density", "0 kg/m3"), &["--density"]);
    refused(&with("--density", "1e400 kg/m3"), &["--density", "finite"]);
    refused(
        &with("--energy", "250"),
        &["--energy", "has no unit", "kJ/kg"],
    );
    refused(&with("--energy", "250 g"), &["--energy", "a mass"]);
    refused(&with("--energy", "twelve kJ/kg"), &["--energy"]);
    refused(&with("--energy", "1e9 kJ/kg"), &["--energy"]);
    refused(
        &["--quality", "1.5", "--temperature", "20 degC"],
        &["--quality", "outside"],
    );
    refused(
        &["--quality", "-0.1", "--temperature", "20 degC"],
        &["--quality", "outside"],
    );
}

#[test]
fn states_the_model_does_not_describe() {
    // Dry ice at 150 K is 1620 kg/m3: 1900 kg/m3 is beyond 500 MPa.
    refused(
        &["--temperature", "150 K", "--density", "1900 kg/m3"],
        &["--temperature", "--density", "500 MPa"],
    );
    refused(
        &["--density", "1900 kg/m3", "--energy", "0 kJ/kg"],
        &["--density", "--energy"],
    );
    refused(
        &["--pressure", "9000 bara", "--temperature", "300 K"],
        &["--pressure", "outside"],
    );
    refused(
        &["--density", "10 kg/m3", "--energy", "-400 kJ/kg"],
        &["--density", "120 K"],
    );
    refused(
        &["--temperature", "216.592 K", "--density", "500 kg/m3"],
        &["three phases"],
    );
    let saturated = json(&["--temperature", "20 degC", "--quality", "0.5"]);
    refused(
        &[
            "--temperature",
            "20 degC",
            "--pressure",
            &format!("{} Pa", saturated["pressure_pa"]),
        ],
        &["two phases coexist"],
    );
}

#[test]
fn map_of_the_inversion() {
    let directory = tempfile::tempdir().unwrap();
    let file = directory.path().join("map.svg");
    let path = file.to_str().unwrap();
    let arguments = ["--map", "--points", "40", "--plot", path];
    let (code, out, err) = gas(&arguments);
    assert_eq!(code, 0, "{err}");
    assert!(out.starts_with("all "), "{out}");
    assert!(
        std::fs::read_to_string(&file)
            .unwrap()
            .contains("triple line")
    );
    refused(&arguments, &["exists", "--force"]);
    let (code, _, _) = gas(&[&arguments[..], &["--force"]].concat());
    assert_eq!(code, 0);
    let (code, out, _) = gas(&["--map", "--points", "40", "--format", "json"]);
    assert_eq!(code, 0);
    let summary: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(summary["failures"].as_array().unwrap().len(), 0);
    assert!(summary["largest_relative_error"].as_f64().unwrap() < 1e-9);
    assert!(summary["states"].as_u64().unwrap() >= 1600);
}

#[test]
fn map_refuses_bad_files_and_mixed_requests() {
    refused(&["--map", "--plot", "map.gif"], &["--plot", ".svg or .png"]);
    refused(
        &["--map", "--plot", "no/such/place/map.svg"],
        &["does not exist"],
    );
    refused(
        &["--map", "--temperature", "20 degC"],
        &["--map", "--temperature"],
    );
    refused(
        &[
            "--temperature",
            "20 degC",
            "--quality",
            "1",
            "--plot",
            "x.svg",
        ],
        &["--plot"],
    );
}
