//! `diagnose` and `shot --as-trace` as a user sees them.

#[path = "common/command.rs"]
mod command;

use command::coldkick;
use serde_json::Value;

const DUNLIN: &str = "fixtures/designs/dunlin-bench.ron";
const COLD: &str = "fixtures/traces/dunlin-cold-cartridge.csv";

#[test]
fn a_cold_cartridge_is_found_said_drawn_and_written() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let name = |file: &str| folder.path().join(file).display().to_string();
    let (plot, fitted) = (name("cold.svg"), name("fitted.ron"));
    let causes = "nothing_wrong,cartridge_cold,pins_strong";
    let told = ["diagnose", DUNLIN, COLD, "--gauge", "--causes", causes];
    let files = ["--plot", &plot, "--write", &fitted];
    let done = coldkick(&[&told[..], &files].concat());
    assert_eq!(done.code, 1, "{}{}", done.out, done.err);
    let first = done.out.lines().next().expect("a line");
    assert!(
        first.contains("cartridge cold") && first.contains("degC"),
        "{first}"
    );
    for part in [
        "decimal comma",
        "2 lines before the headings skipped",
        "1 missing values",
        "spikes or dropouts",
        "None of these",
        "soak for an hour",
    ] {
        let flat = done.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(part), "`{part}` is missing in\n{}", done.out);
    }
    let picture = std::fs::read_to_string(&plot).expect("a picture");
    assert!(picture.contains("measured") && picture.contains("residual"));
    // The design as it is, dashed, goes through more points than the 129 of the fit.
    let dashed = picture
        .split("<path")
        .filter(|path| path.contains("stroke=\"#56b4e9\""));
    let lines: usize = dashed.map(|path| path.matches('L').count()).sum();
    assert!(lines > 250, "{lines}");
    // What was written is a design, colder than the one it came from.
    let check = coldkick(&["check", &fitted]);
    assert_eq!(check.code, 0, "{}", check.err);
    let text = std::fs::read_to_string(&fitted).expect("a design");
    let temperature =
        coldkick::design::edit::get(&text, "vessels.cartridge.temperature").expect("a temperature");
    // With its spread, where the traces leave one.
    let degrees: f64 = temperature
        .split_whitespace()
        .find_map(|word| word.parse().ok())
        .expect("degrees");
    assert!((-12.0..2.0).contains(&degrees), "{temperature}");
    // Nothing is overwritten unasked.
    let again = coldkick(&[&told[..], &files].concat());
    assert_eq!(again.code, 2);
    assert!(again.err.contains("--force"), "{}", again.err);
}

#[test]
fn json_holds_probabilities_that_add_up() {
    let causes = "nothing_wrong,cartridge_cold";
    let done = coldkick(&[
        "diagnose", DUNLIN, COLD, "--gauge", "--causes", causes, "--format", "json",
    ]);
    let json: Value = serde_json::from_str(&done.out).expect("JSON");
    let total: f64 = json["causes"]
        .as_array()
        .expect("causes")
        .iter()
        .map(|cause| cause["probability"].as_f64().expect("a probability"))
        .sum();
    let none = json["none_of_these"].as_f64().expect("a probability");
    assert!((total + none - 1.0).abs() < 1e-9, "{total} {none}");
    assert_eq!(json["verdict"], "cartridge_cold");
    let series = &json["series"][0];
    let points = series["time_s"].as_array().expect("times").len();
    assert!(points > 50);
    for column in ["measured", "fitted", "band", "nominal", "deviation"] {
        assert_eq!(
            series[column].as_array().expect(column).len(),
            points,
            "{column}"
        );
    }
}

#[test]
fn bad_input_is_refused_with_the_way_out() {
    let cases: [(&[&str], &str); 8] = [
        (&[COLD], "--gauge"),
        (&["no-such.csv", "--gauge"], "could not be read"),
        (&[COLD, "--gauge", "--causes", "gremlins"], "not a cause"),
        (&[COLD, "--gauge", "--trigger", "100 s"], "outside"),
        (&[COLD, "--gauge", "--trigger", "soon"], "--trigger"),
        (
            &[COLD, "--gauge", "--own", "vessels.bay.colour"],
            "uncertain value",
        ),
        (&[COLD, "--gauge", "--column", "nope=bay"], "no column"),
        (&[COLD, "--gauge", "--plot", "picture.gif"], ".svg"),
    ];
    for (arguments, expected) in cases {
        let done = coldkick(&[&["diagnose", DUNLIN], arguments].concat());
        assert_eq!(done.code, 2, "{arguments:?}: {}{}", done.out, done.err);
        let flat = done.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(expected), "{arguments:?}: {}", done.err);
        assert!(done.out.is_empty(), "{arguments:?}: {}", done.out);
    }
    let done = coldkick(&[
        "diagnose",
        DUNLIN,
        COLD,
        "--gauge",
        "--causes",
        "vent_open,valve_partly_open",
    ]);
    assert_eq!(done.code, 2);
    assert!(done.err.contains("no place"), "{}", done.err);
}

/// A sensor off its zero, or slow, is no failure of the separation, and the answer does not call it one.
#[test]
fn a_fault_of_the_sensor_is_no_failed_separation() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    for fault in ["sensor_offset", "sensor_lag"] {
        let trace = folder
            .path()
            .join(format!("{fault}.csv"))
            .display()
            .to_string();
        let made = coldkick(&[
            "shot",
            DUNLIN,
            "--as-trace",
            &trace,
            "--fault",
            fault,
            "--seed",
            "5",
        ]);
        assert_eq!(made.code, 0, "{}", made.err);
        let causes = format!("nothing_wrong,{fault}");
        let done = coldkick(&[
            "diagnose", DUNLIN, &trace, "--causes", &causes, "--trials", "0",
        ]);
        let first = done.out.lines().next().expect("a line");
        assert!(first.starts_with("CHECK  "), "{first}");
        assert!(first.contains("; the sensor apart: nose leaves"), "{first}");
        // The record is not to be relied on.
        assert_eq!(done.code, 1, "{first}");
    }
}

/// A design all of whose values are certain leaves only the sensors to be fitted.
#[test]
fn a_design_without_spreads_can_be_tested() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let name = |file: &str| folder.path().join(file).display().to_string();
    let (design, trace) = (name("certain.ron"), name("certain.csv"));
    std::fs::write(&design, CERTAIN).expect("a design");
    let made = coldkick(&["shot", &design, "--as-trace", &trace, "--seed", "3"]);
    assert_eq!(made.code, 0, "{}", made.err);
    let causes = "nothing_wrong,valve_slow,pins_strong";
    let done = coldkick(&[
        "diagnose", &design, &trace, "--trials", "0", "--causes", causes,
    ]);
    let first = done.out.lines().next().expect("a verdict");
    assert!(first.contains("nothing wrong"), "{first}{}", done.err);
}

const CERTAIN: &str = r#"(
  name: "Certain",
  shared: { "soak": "10 degC" },
  vessels: { "cartridge": (kind: "cartridge", charge: "16 g", volume: "21.5 mL", temperature: "$soak", draw: "vapour", rating: "250 barg", wall: (material: "steel", mass: "60 g", thickness: "1.2 mm", inside: boiling(area_factor: "0.5"))),
    "bay": (kind: "bay", volume: "1.1 L", temperature: "$soak", rating: "6 barg", insulated: true), },
  paths: { "valve": (kind: "valve", from: "cartridge", to: "bay", diameter: "2 mm", discharge_coefficient: "0.75", flow_blend: "0.5", opens_at: "0 s", opening: ramp(lag: "4 ms", duration: "2 ms")), },
  nose: (vessel: "bay", bore: "98 mm", mass: "0.9 kg", engagement: "95 mm", pins: [(count: "3", strength: "125 N", tear_length: "0.5 mm")], static_friction: "0 N", kinetic_friction: "0 N", body_mass: "6 kg", ),
  site: (mode: "bench", elevation: "0 deg", pressure: "1 bara", temperature: "15 degC"),
  criteria: (clear_within: "0.5 s", exit_speed_least: "5 m/s", exit_speed_most: "30 m/s", retention_factor: "2"),
  horizon: "2 s",
  
)"#;

/// A dead sensor, a servo that is not plugged in and a cartridge that was not pierced give the same record: whichever
/// cause is named, it would be a guess.
#[test]
fn a_record_in_which_nothing_rises_is_not_explained() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let file = folder.path().join("dead.csv").display().to_string();
    let mut state = 7_u64;
    let rows = (0..2500).map(|k| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        let noise = 0.6 * ((state >> 32) as f64 / f64::from(u32::MAX) - 0.5);
        format!("{},{noise:.3}\n", -0.02 + 5e-4 * f64::from(k))
    });
    let text: String = std::iter::once("t [s],bay [kPa gauge]\n".to_owned())
        .chain(rows)
        .collect();
    std::fs::write(&file, text).expect("a trace");
    let done = coldkick(&["diagnose", DUNLIN, &file]);
    assert_eq!(done.code, 2, "{}{}", done.out, done.err);
    let flat = done.err.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in ["nothing rises or falls beyond the noise", "known pressure"] {
        assert!(flat.contains(part), "`{part}` is missing in\n{}", done.err);
    }
}

#[test]
fn training_traces_follow_their_seed() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let name = |file: &str| folder.path().join(file).display().to_string();
    let make = |file: &str, fault: &str, seed: &str| {
        let path = name(file);
        let done = coldkick(&[
            "shot",
            DUNLIN,
            "--as-trace",
            &path,
            "--fault",
            fault,
            "--seed",
            seed,
            "--record",
            "bay,cartridge,travel",
            "--noise",
            "2 %",
            "--drift",
            "-1 %",
        ]);
        assert_eq!(done.code, 0, "{}", done.err);
        assert!(done.out.contains("seal leaking: leak area"), "{}", done.out);
        std::fs::read_to_string(&path).expect("a trace")
    };
    let first = make("a.csv", "seal_leak", "5");
    // By the name that reports print, too.
    let same = make("b.csv", "Seal leaking", "5");
    let other = make("c.csv", "seal_leak", "6");
    assert_eq!(first, same);
    assert_ne!(first, other);
    let heading = first.lines().next().expect("a line");
    assert_eq!(
        heading,
        "time [s],bay [kPa gauge],cartridge [kPa abs],travel [mm]"
    );
    for (arguments, expected) in [
        (["--fault", "gremlins"], "not a cause"),
        (["--noise", "a lot"], "--noise"),
        (["--rate", "0"], "samples"),
        (["--record", "boot"], "no such vessel"),
        (["--record", "bay,cartridge, bay"], "bay is named twice"),
    ] {
        let path = name("bad.csv");
        let done = coldkick(&[&["shot", DUNLIN, "--as-trace", &path][..], &arguments].concat());
        assert_eq!(done.code, 2, "{arguments:?}");
        assert!(done.err.contains(expected), "{arguments:?}: {}", done.err);
        assert!(!folder.path().join("bad.csv").exists());
    }
}

#[test]
fn a_hole_is_said_before_whose_it_is() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let path = folder.path().join("hole.csv").display().to_string();
    let fault = ["--fault", "vent_open", "--seed", "2"];
    let made = coldkick(&[&["shot", DUNLIN, "--as-trace", &path][..], &fault].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    let done = coldkick(&["diagnose", DUNLIN, &path, "--trials", "0"]);
    let first = done.out.lines().next().expect("a verdict");
    assert!(first.contains("a hole in the bay, "), "{first}");
    assert!(
        first.contains("alike in any record): open port "),
        "{first}"
    );
    assert!(!first.contains("next seal leaking"), "{first}");
}

/// A slow valve written over an opening leaves its shared draw without a use, and a correlation with that.
#[test]
fn a_fault_takes_along_what_it_leaves_without_a_use() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let name = |file: &str| folder.path().join(file).display().to_string();
    let text = std::fs::read_to_string(DUNLIN).expect("a shipped design");
    let changes = [
        (
            "shared: {",
            "correlations: [\n(between: [\"shared.workshop\", \"shared.stroke\"], rank: \"0.3\"),\n\
             (between: [\"shared.workshop\", \"nose.static_friction\"], rank: \"-0.2\"),\n],\n\
             shared: {\n\"stroke\": \"uniform 1 ms .. 4 ms\",",
        ),
        (
            "duration: \"uniform 1 ms .. 4 ms\"",
            "duration: \"$stroke\"",
        ),
    ];
    let own = changes.iter().fold(text, |text, (before, after)| {
        assert!(text.contains(before), "{before}");
        text.replacen(before, after, 1)
    });
    let (design, trace, fitted) = (name("own.ron"), name("slow.csv"), name("fitted.ron"));
    std::fs::write(&design, own).expect("a design");
    let fault = ["--fault", "valve_slow", "--seed", "3"];
    let made = coldkick(&[&["shot", &design, "--as-trace", &trace][..], &fault].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    let causes = ["--causes", "nothing_wrong,valve_slow", "--trials", "20"];
    let told = [
        &["diagnose", &design, &trace, "--write", &fitted][..],
        &causes,
    ]
    .concat();
    let done = coldkick(&told);
    assert!(
        done.out.contains("valve slow, "),
        "{}{}",
        done.out,
        done.err
    );
    assert!(done.code < 2, "{}", done.err);
    let check = coldkick(&["check", &fitted]);
    assert_eq!(check.code, 0, "{}", check.err);
    let text = std::fs::read_to_string(&fitted).expect("a design");
    assert!(!text.contains("shared.stroke") && !text.contains("\"stroke\""));
    assert!(
        text.contains("nose.static_friction"),
        "the other pair stays"
    );
}

/// Pins half again as strong look like a nose that sticks six times as hard: the design as it is explains the record,
/// with one value 4.4 standard deviations from what is believed of it. A fault that stands for that is likelier, and
/// far from where the design as it is was fitted.
#[test]
fn a_strained_value_is_said_and_a_fault_that_stands_for_it_found() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let path = folder.path().join("strong.csv").display().to_string();
    let design = "tests/common/tern-in-inches.ron";
    let fault = ["--fault", "pins_strong", "--seed", "4", "--record", "bay"];
    let made = coldkick(&[&["shot", design, "--as-trace", &path][..], &fault].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    let told = ["diagnose", design, &path, "--trials", "0"];
    let done = coldkick(&told);
    let first = done.out.lines().next().expect("a verdict");
    assert!(first.contains("pins too strong, "), "{first}");
    let healthy = ["--causes", "nothing_wrong"];
    let done = coldkick(&[&told[..], &healthy].concat());
    let first = done.out.lines().next().expect("a verdict");
    assert!(
        first.contains(", but static friction of the nose "),
        "{first}"
    );
    assert!(done.out.contains("measure it by itself"), "{}", done.out);
    assert!(!done.out.contains("nothing stands out"), "{}", done.out);
    // Far in the tail of a belief draws from a normal one are worth nothing: their ends were those of one draw.
    let done = coldkick(&[&told[..], &healthy, &["--format", "json"]].concat());
    let found: serde_json::Value = serde_json::from_str(&done.out).expect("JSON");
    let values = found["values"].as_array().expect("values");
    for value in values {
        let [low, at, high] =
            ["low", "value", "high"].map(|key| value[key].as_f64().expect("a number"));
        assert!(low <= at && at <= high && low < high, "{value}");
    }
    let narrow = |value: &&serde_json::Value| value["label"] == "soak";
    let soak = values.iter().find(narrow).expect("the temperature");
    let width = soak["high"].as_f64().expect("a number") - soak["low"].as_f64().expect("a number");
    assert!(width > 1.0, "{width} K");
}

/// A flow coefficient that a fault contradicts gives way to an area: what was found is said, and what is written is a
/// design.
#[test]
fn a_valve_sized_by_its_flow_coefficient_is_written_by_its_area() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let name = |file: &str| folder.path().join(file).display().to_string();
    let text = std::fs::read_to_string(DUNLIN).expect("a design");
    let size = "area: \"triangle 0.8 mm2 .. 1.6 mm2 .. 2.6 mm2\",\n            \
                discharge_coefficient: \"uniform 0.6 .. 0.8\"";
    assert!(text.contains(size));
    let sized = text.replacen(size, "kv: \"normal 0.057 m3/h sd 0.002 m3/h\"", 1);
    let (design, trace, fitted) = (name("kv.ron"), name("shut.csv"), name("fitted.ron"));
    std::fs::write(&design, sized).expect("a design");
    let fault = ["--fault", "neck_partly_pierced", "--seed", "3"];
    let made = coldkick(&[&["shot", &design, "--as-trace", &trace][..], &fault].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    let causes = [
        "--causes",
        "nothing_wrong,neck_partly_pierced",
        "--trials",
        "0",
    ];
    let told = ["diagnose", &design, &trace, "--write", &fitted];
    let done = coldkick(&[&told[..], &causes].concat());
    assert_eq!(done.code, 1, "{}{}", done.out, done.err);
    assert!(
        done.out.contains("neck not fully pierced, "),
        "{}",
        done.out
    );
    let check = coldkick(&["check", &fitted]);
    assert_eq!(check.code, 0, "{}", check.err);
    let text = std::fs::read_to_string(&fitted).expect("a design");
    let get =
        |field: &str| coldkick::design::edit::get(&text, &format!("paths.struck-neck.{field}"));
    assert_eq!(get("kv"), None);
    let area = get("area").expect("an area");
    assert!(area.ends_with("mm2"), "{area}");
    assert_eq!(get("discharge_coefficient").as_deref(), Some("1"));
}

/// A design to fly in which nothing has the names of what was tested is refused before anything is computed or written.
#[test]
fn a_flight_of_other_names_is_refused_before_any_work() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let fitted = folder.path().join("fitted.ron").display().to_string();
    let tern = "fixtures/designs/tern-primary.ron";
    let trace = "fixtures/traces/dunlin-cold-cartridge.csv";
    let told = ["diagnose", DUNLIN, trace, "--gauge", "--flight", tern];
    let run = coldkick(&[&told[..], &["--write", &fitted]].concat());
    assert_eq!(run.code, 2, "{}{}", run.out, run.err);
    assert!(run.out.is_empty(), "{}", run.out);
    for words in ["--flight", "paths.struck-neck", "pierced-neck"] {
        assert!(run.err.contains(words), "{}", run.err);
    }
    assert!(!std::path::Path::new(&fitted).exists());
}

/// A design to fly that cannot take what was found, here a charge for which its cartridge is too small: that is an error,
/// and the diagnosis is there all the same.
#[test]
fn a_flight_that_cannot_take_the_finding_does_not_hide_it() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let name = |file: &str| folder.path().join(file).display().to_string();
    let text = std::fs::read_to_string(DUNLIN).expect("a design");
    let part = "part: \"co2-8g\",";
    assert!(text.contains(part));
    let small = format!("{part} charge: \"2.4 g\", volume: \"4 mL\",");
    let (flight, trace) = (name("flight.ron"), name("light.csv"));
    std::fs::write(&flight, text.replacen(part, &small, 1)).expect("a design");
    let fault = ["--fault", "cartridge_light", "--seed", "3"];
    let made = coldkick(&[&["shot", DUNLIN, "--as-trace", &trace][..], &fault].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    let causes = [
        "--causes",
        "nothing_wrong,cartridge_light",
        "--trials",
        "20",
    ];
    let told = ["diagnose", DUNLIN, &trace, "--flight", &flight];
    let done = coldkick(&[&told[..], &causes].concat());
    assert_eq!(done.code, 2, "{}{}", done.out, done.err);
    assert!(
        done.err.contains("vessels.cartridge.charge"),
        "{}",
        done.err
    );
    assert!(done.out.contains("cartridge light, "), "{}", done.out);
}
