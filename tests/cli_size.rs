//! `size` as a user sees it: the answer first, files that other commands accept, and every way in
//! which the input can be wrong.

#[path = "common/command.rs"]
mod command;

use command::coldkick;
use std::path::{Path, PathBuf};

use serde_json::Value;

/// A small design with one choice and one value open that is searched in no time.
const SMALL: &str = r#"(
    name: "Small",
    shared: { "soak": "normal 15 degC sd 3 degC within 0 degC .. 30 degC" },
    vessels: {
        "cartridge": (kind: "cartridge", part: "co2-8g", temperature: "$soak", insulated: true),
        "bay": (kind: "bay", volume: "normal 0.4 L sd 0.01 L", temperature: "$soak", rating: "10 barg"),
    },
    paths: {
        "valve": (kind: "valve", from: "cartridge", to: "bay", diameter: "1.6 mm",
            discharge_coefficient: "uniform 0.6 .. 0.8", flow_blend: "0", opens_at: "0 s"),
        "leak": (kind: "leak", from: "bay", to: "ambient", area: "lognormal 0.5 mm2 factor 1.5",
            discharge_coefficient: "0.65"),
    },
    nose: (vessel: "bay", bore: "54 mm", mass: "0.2 kg", engagement: "40 mm",
        pins: [(count: "1", strength: "100 N", tear_length: "0.5 mm")],
        static_friction: "10 N", kinetic_friction: "8 N"),
    site: (mode: "bench", elevation: "0 deg", pressure: "1 bara", temperature: "15 degC"),
    criteria: (clear_within: "0.3 s", exit_speed_least: "5 m/s"),
    horizon: "0.4 s",
    size: (
        free: [
            // Two sizes in the drawer.
            cartridge(vessel: "cartridge", from: ["co2-8g", "co2-12g"]),
            value(of: "vessels.bay.volume", least: "0.3 L", most: "0.5 L", step: "50 mL"),
        ],
        coldest: "0 degC",
        hottest: "30 degC",
    ),
)
"#;

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary directory")
}

fn write(folder: &tempfile::TempDir, name: &str, content: &str) -> PathBuf {
    let path = folder.path().join(name);
    std::fs::write(&path, content).expect("a file");
    path
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a printable path")
}

fn changed(from: &str, to: &str) -> String {
    assert_eq!(SMALL.matches(from).count(), 1, "`{from}` is not there once");
    SMALL.replace(from, to)
}

/// Runs `size --write` on a design that must be refused: exit 2, the words in the message, a
/// place in the file, nothing written.
#[track_caller]
fn refused(content: &str, options: &[&str], words: &[&str]) {
    let folder = folder();
    let design = write(&folder, "bad.ron", content);
    let sized = folder.path().join("sized.ron");
    let mut arguments = vec!["size", text(&design), "--write", text(&sized)];
    arguments.extend(options);
    let run = coldkick(&arguments);
    assert_eq!(run.code, 2, "{}{}", run.out, run.err);
    assert!(run.out.is_empty(), "{}", run.out);
    for word in words {
        assert!(run.err.contains(word), "no `{word}` in: {}", run.err);
    }
    assert!(!run.err.contains("panicked"), "{}", run.err);
    assert!(!sized.exists(), "something was written");
}

#[test]
fn the_answer_comes_first_and_the_saved_design_passes_everywhere() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let sized = folder.path().join("sized.ron");
    let picture = folder.path().join("sized.svg");
    let run = coldkick(&[
        "size",
        text(&design),
        "--trials",
        "20",
        "--write",
        text(&sized),
        "--plot",
        text(&picture),
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    let first = run.out.lines().next().expect("a first line");
    assert!(
        first.starts_with("PASS  Small: co2-8g, bay volume 500 mL: "),
        "{first}"
    );
    for word in [
        "Best by least mass",
        "margin cold",
        "co2-8g as cartridge",
        "discharges",
        "not a permission",
    ] {
        assert!(run.out.contains(word), "no `{word}` in {}", run.out);
    }
    let saved = std::fs::read_to_string(&sized).expect("a saved design");
    // In the unit it was written in.
    assert!(
        saved.contains(r#"volume: "normal 0.5 L sd 0.0125 L""#),
        "{saved}"
    );
    // The mass of a bay without a shell says nothing about its volume.
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("leaves out the shell of bay") && flat.contains("Remedy: write its `wall:"),
        "{}",
        run.out
    );
    assert!(!saved.contains("size: ("), "{saved}");
    for command in ["check", "shot"] {
        let again = coldkick(&[command, text(&sized)]);
        assert_eq!(again.code, 0, "{command}: {}{}", again.out, again.err);
    }
    let odds = coldkick(&["odds", text(&sized), "--trials", "128"]);
    assert!(matches!(odds.code, 0 | 1), "{}{}", odds.out, odds.err);
    let drawing = std::fs::read_to_string(&picture).expect("a picture");
    assert!(drawing.contains("<svg") && drawing.contains("least mass against most margin"));
    assert!(drawing.contains("mass [g]"));
    // One point is marked as the best, larger than the others.
    assert_eq!(drawing.matches("r=\"8\"").count(), 1);
    // Neither is overwritten without being asked to.
    let again = coldkick(&["size", text(&design), "--write", text(&sized)]);
    assert_eq!(again.code, 2);
    assert!(again.err.contains("--force"), "{}", again.err);
}

/// A design that just passes with the values expected of it fails as often as not when built: the first line says so.
#[test]
fn a_poor_chance_is_no_plain_pass() {
    let design = "fixtures/designs/sizing-01-bay-for-rating.ron";
    let run = coldkick(&["size", design, "--trials", "100"]);
    let first = run.out.lines().next().expect("a first line");
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains(": what fails first is exit speed too low ("),
        "{}",
        run.out
    );
    assert!(
        first.starts_with("PASS with expected values only  "),
        "{first}"
    );
    assert!(run.out.contains("--at-least"), "{}", run.out);
    let run = coldkick(&["size", design, "--trials", "0", "--quiet"]);
    assert!(run.out.starts_with("PASS  "), "{}", run.out);
}

#[test]
fn json_and_csv_say_the_same_in_si() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&["size", text(&design), "--trials", "0", "--format", "json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let value: Value = serde_json::from_str(&run.out).expect("JSON");
    assert_eq!(value["verdict"], "pass");
    let best = &value["best"][0];
    assert_eq!(best["choices"]["cartridge"], "co2-8g");
    assert!(
        (best["values"]["vessels.bay.volume"]
            .as_f64()
            .expect("a volume")
            - 5e-4)
            .abs()
            < 1e-12
    );
    let mass = best["mass_kg"].as_f64().expect("a mass");
    // 8 g and 24 g of steel, a striker of 35 g, one pin of 2 mm by 12 mm nylon; no shell written.
    assert!((mass - 0.067_043).abs() < 1e-6, "{mass}");
    assert!(value["discharges"].as_u64().expect("a count") > 0);
    let run = coldkick(&["size", text(&design), "--trials", "0", "--format", "csv"]);
    let mut reader = csv::Reader::from_reader(run.out.as_bytes());
    let head = reader.headers().expect("a head").clone();
    let place = head
        .iter()
        .position(|name| name == "mass_kg")
        .expect("a column");
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(&rows[0][0], "1");
    assert!((rows[0][place].parse::<f64>().expect("a mass") - mass).abs() < 1e-12);
}

#[test]
fn the_same_seed_gives_the_same_answer() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = || coldkick(&["size", text(&design), "--trials", "6", "--seed", "4"]).out;
    assert_eq!(run(), run());
}

#[test]
fn what_cannot_be_met_says_what_blocks_and_what_would_open_it() {
    let folder = folder();
    let content = changed(
        r#"exit_speed_least: "5 m/s""#,
        r#"exit_speed_least: "60 m/s""#,
    );
    let design = write(&folder, "fast.ron", &content);
    let sized = folder.path().join("sized.ron");
    let run = coldkick(&[
        "size",
        text(&design),
        "--trials",
        "0",
        "--write",
        text(&sized),
    ]);
    assert_eq!(run.code, 1, "{}", run.err);
    assert!(run.out.starts_with("FAIL"), "{}", run.out);
    for word in [
        "What blocks",
        "What would open a solution",
        "instead of 60.0 m/s",
        "It has bay volume at the least allowed: wider bounds may help.",
    ] {
        assert!(run.out.contains(word), "no `{word}` in {}", run.out);
    }
    assert!(run.err.contains("no design was saved"), "{}", run.err);
    assert!(!sized.exists());
}

#[test]
fn the_next_smaller_cartridge_is_explained() {
    let folder = folder();
    // So many pins that only the larger cartridge holds twice what they do.
    let content = changed(r#"count: "1""#, r#"count: "10""#)
        .replace(
            r#"criteria: (clear_within: "0.3 s", exit_speed_least: "5 m/s")"#,
            r#"criteria: (clear_within: "0.3 s", retention_factor: "1.1")"#,
        )
        .replace(r#"hottest: "30 degC""#, r#"hottest: "10 degC""#);
    let design = write(&folder, "strong.ron", &content);
    let run = coldkick(&["size", text(&design), "--trials", "0"]);
    assert!(
        run.out.contains("With 8.00 g of CO2 the closest is co2-8g"),
        "{}{}",
        run.out,
        run.err
    );
    assert!(
        run.out.contains("It fails available force over retention"),
        "{}",
        run.out
    );
}

#[test]
fn the_table_needs_no_search_and_no_size_section() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&["size", text(&design), "--table"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(
        run.out
            .starts_with("Small: co2-8g is the first cartridge of 2"),
        "{}",
        run.out
    );
    assert!(run.out.contains("cold (0.0 degC)"), "{}", run.out);
    // A number, a unit and a margin: the pressure on the cold day is the least.
    let first = run.out.lines().next().expect("a first line");
    let worst = "at every temperature: bay ";
    let (_, worst) = first.split_once(worst).expect("a pressure");
    let words: Vec<&str> = worst.split(' ').collect();
    let pressure: f64 = words[0].parse().expect("a number");
    let limit = words
        .iter()
        .position(|word| *word == "least")
        .expect("a limit");
    let wanted: f64 = words[limit + 1].parse().expect("a number");
    let margin = words
        .iter()
        .position(|word| *word == "margin")
        .expect("a margin");
    let margin: f64 = words[margin + 1]
        .trim_start_matches('+')
        .parse()
        .expect("a number");
    assert_eq!(&words[1..4], &["bara", "cold", "(0.0"], "{first}");
    let expected = 100.0 * ((pressure - 1.0) / (wanted - 1.0) - 1.0);
    assert!((margin / expected - 1.0).abs() < 0.02, "{first}");
    // Nothing lets more through than the charge starts with.
    let run = coldkick(&["size", text(&design), "--table", "--format", "json"]);
    let value: Value = serde_json::from_str(&run.out).expect("JSON");
    let rows = value["rows"].as_array().expect("rows");
    assert_eq!(rows.len(), 6);
    for row in rows {
        let number = |key: &str| row[key].as_f64().expect("a pressure");
        let (leaks, charge) = (
            number("leak_balance_pressure_pa"),
            number("charge_pressure_pa"),
        );
        assert!(leaks <= charge, "{row}");
    }
    let strong = write(&folder, "strong.ron", &changed(r#""100 N""#, r#""2 kN""#));
    let run = coldkick(&["size", text(&strong), "--table"]);
    let first = run.out.lines().next().expect("a first line");
    assert!(
        first.contains("no cartridge of 2") && first.contains("closest: co2-12g, bay "),
        "{first}"
    );
    assert!(
        first.contains("cold (0.0 degC), at least ") && first.contains("margin -"),
        "{first}"
    );
    let run = coldkick(&[
        "size",
        "fixtures/designs/dunlin-bench.ron",
        "--table",
        "--format",
        "csv",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    // A head, and one line for each of the ten cartridges of the library.
    assert_eq!(run.out.lines().count(), 11, "{}", run.out);
    let run = coldkick(&[
        "size",
        "fixtures/designs/dunlin-bench.ron",
        "--table",
        "--format",
        "json",
    ]);
    let value: Value = serde_json::from_str(&run.out).expect("JSON");
    let row = &value["rows"][0];
    let pressure = |key: &str| row[key].as_f64().expect("a pressure");
    // Real CO2 that cooled holds less than once it is warm again, and that less than a perfect gas.
    assert!(pressure("cold_pressure_pa") < pressure("warm_pressure_pa"));
    assert!(pressure("warm_pressure_pa") < pressure("perfect_gas_pressure_pa"));
}

/// What was written in inches stays in inches.
#[test]
fn a_saved_design_keeps_its_units() {
    let folder = folder();
    let inches = SMALL
        .replace("normal 0.4 L sd 0.01 L", "normal 24 in3 sd 0.6 in3")
        .replace(
            r#"least: "0.3 L", most: "0.5 L", step: "50 mL")"#,
            r#"least: "18 in3", most: "30 in3", step: "3 in3"),
            value(of: "paths.valve.diameter", least: "1/16 in", most: "0.1 in")"#,
        )
        .replace("1/16 in", "0.0625 in");
    let design = write(&folder, "inches.ron", &inches);
    let sized = folder.path().join("sized.ron");
    let told = ["size", text(&design), "--trials", "0", "--units", "us"];
    let run = coldkick(&[&told[..], &["--write", text(&sized), "--quiet"]].concat());
    assert_eq!(run.code, 0, "{}", run.err);
    let saved = std::fs::read_to_string(&sized).expect("a saved design");
    let value = |name: &str| {
        let words = run.out.split_once(name).expect("a value").1;
        words
            .split(' ')
            .nth(1)
            .expect("a number")
            .parse::<f64>()
            .expect("a number")
    };
    let volume = value("bay volume");
    let written = format!("\"normal {volume} in3 sd {} in3\"", volume / 40.0);
    assert!(saved.contains(&written), "no {written} in {saved}");
    let (_, diameter) = saved.split_once("diameter: \"").expect("a diameter");
    let (number, unit) = diameter.split_once(' ').expect("a unit");
    let number: f64 = number.parse().expect("a number");
    assert!(unit.starts_with("in\""), "{saved}");
    assert!(
        (number / value("valve diameter") - 1.0).abs() < 1e-3,
        "{saved}"
    );
}

/// One more pin weighs next to nothing and may help a lot: said, though the first is the lightest.
#[test]
fn hardly_more_mass_for_more_margin_is_said() {
    let folder = folder();
    let pins = changed(
        "        ],\n        coldest",
        "            pins(count: [\"1\", \"2\", \"3\"]),\n        ],\n        coldest",
    );
    let design = write(&folder, "pins.ron", &pins);
    let run = coldkick(&["size", text(&design), "--trials", "0", "--format", "json"]);
    let value: Value = serde_json::from_str(&run.out).expect("JSON");
    let best = value["best"].as_array().expect("the best");
    let number = |row: usize, key: &str| best[row][key].as_f64().expect("a number");
    assert!(number(1, "mass_kg") < 1.001 * number(0, "mass_kg"));
    assert!(number(1, "margin") > number(0, "margin") + 0.01);
    let run = coldkick(&["size", text(&design), "--trials", "0"]);
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("Row 2 is only 0.0430 g heavier than the first and has a least margin of +"),
        "{}",
        run.out
    );
}

#[test]
fn wishes_on_the_command_line_stand_in_for_those_of_the_file() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&[
        "size",
        text(&design),
        "--trials",
        "0",
        "--from",
        "-4 degC",
        "--to",
        "28degC",
        "--aim",
        "most margin",
        "--quiet",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert_eq!(run.out.lines().count(), 1, "{}", run.out);
    refused(
        SMALL,
        &["--from", "40 degC"],
        &["coldest must be less than hottest"],
    );
    refused(SMALL, &["--from", "-4"], &["size.coldest", "unit"]);
    refused(
        SMALL,
        &["--aim", "least mas"],
        &["did you mean `least mass`"],
    );
    refused(SMALL, &["--at-least", "100 %"], &["no number of trials"]);
    refused(
        SMALL,
        &["--at-least", "99 %", "--trials", "50"],
        &["cannot show"],
    );
    refused(SMALL, &["--best", "0"], &["--best"]);
}

#[test]
fn bad_sections_are_refused_before_any_work() {
    let free = |entry: &str| {
        let start = SMALL.find("free: [").expect("a list");
        let end = SMALL[start..].find("],\n        coldest").expect("its end") + start;
        format!("{}free: [{entry}{}", &SMALL[..start], &SMALL[end..])
    };
    let no_section = format!(
        "{})",
        &SMALL[..SMALL.find("    size: (").expect("a section")]
    );
    refused(&no_section, &[], &["`size` is missing", "free"]);
    refused(&free(""), &[], &["nothing is free"]);
    refused(
        &free(r#"cartridge(vessel: "cartridge", from: [])"#),
        &[],
        &["the list of cartridges is empty", "bad.ron:"],
    );
    refused(
        &free(r#"cartridge(vessel: "cartridge", from: ["co2-9g"])"#),
        &[],
        &["no cartridge", "did you mean"],
    );
    refused(
        &free(r#"cartridge(vessel: "bay")"#),
        &[],
        &["is not a cartridge"],
    );
    refused(
        &free(r#"cartridge(vessel: "cart")"#),
        &[],
        &["no vessel is named", "did you mean"],
    );
    refused(
        &free(r#"cartridge(vessel: "cartridge", number: ["9"])"#),
        &[],
        &["whole number from 1 to 4"],
    );
    refused(
        &free(r#"value(of: "vessels.bay.volume", least: "0.5 L", most: "0.3 L")"#),
        &[],
        &[
            "least must be less than most",
            "bad.ron:",
            "the larger as most",
        ],
    );
    refused(
        &free(r#"value(of: "vessels.bay.volum", least: "0.3 L", most: "0.5 L")"#),
        &[],
        &["no field at", "did you mean `vessels.bay.volume`"],
    );
    refused(
        &free(r#"value(of: "vessels.bay.volume", least: "0.3", most: "0.5 L")"#),
        &[],
        &["size.free.0.least", "unit"],
    );
    refused(
        &free(r#"value(of: "vessels.bay.volume", least: "-1 L", most: "0.5 L")"#),
        &[],
        &["negative"],
    );
    refused(
        &free(r#"value(of: "vessels.bay.volume", least: "0.3 L", most: "0.5 L", step: "1 L")"#),
        &[],
        &["steps between the bounds"],
    );
    refused(
        &free(r#"value(of: "vessels.bay.volume", least: "0.3 L", most: "0.5 L", step: "0 L")"#),
        &[],
        &["a step of nothing", "leave it out"],
    );
    refused(
        &free(r#"pins(count: ["0", "3"])"#),
        &[],
        &["whole number from 1 to 64", "such as \"3\""],
    );
    refused(
        &free(r#"value(of: "vessels.bay.temperature", least: "1 degC", most: "5 degC")"#),
        &[],
        &["shared draw"],
    );
    refused(
        &free(r#"value(of: "site.temperature", least: "1 degC", most: "5 degC")"#),
        &[],
        &["is not a size"],
    );
    refused(
        &free(r#"servo(valve: "valve")"#),
        &[],
        &["`valve` is not one of"],
    );
    refused(
        &free(r#"pins(entry: "3", count: ["1"])"#),
        &[],
        &["nose.pins.3"],
    );
    refused(&free("pins()"), &[], &["neither `kinds` nor `count`"]);
    refused(
        &free(
            r#"cartridge(vessel: "cartridge"), value(of: "vessels.cartridge.charge", least: "8 g", most: "9 g")"#,
        ),
        &[],
        &["left open twice"],
    );
    refused(
        &free(r#"cartrige(vessel: "cartridge")"#),
        &[],
        &["did you mean `cartridge`"],
    );
    refused(
        &changed(r#"hottest: "30 degC","#, ""),
        &[],
        &["`hottest` is missing"],
    );
    refused(
        &changed(
            r#"hottest: "30 degC","#,
            r#"hottest: "30 degC", climb: (pad: "0.1 km", time: "9 s"),"#,
        ),
        &[],
        &["a climb ends at the altitude"],
    );
    refused(
        &changed(
            r#"exit_speed_least: "5 m/s""#,
            r#"exit_speed_least: "500 m/s""#,
        ),
        &[],
        &["speed of sound"],
    );
    refused(
        &changed(r#"rating: "10 barg""#, r#"rating: "0.5 bara""#),
        &[],
        &["below the pressure of the air"],
    );
    refused(
        &changed(
            r#"opens_at: "0 s")"#,
            r#"opens_at: "0 s", opening: ramp(lag: "0.4 s", duration: "5 ms"))"#,
        ),
        &[],
        &["does not start to open before"],
    );
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&["size", text(&design), "--plot", "front.gif"]);
    assert_eq!(run.code, 2);
    let run = coldkick(&["size", text(&design), "--write", "no/such/folder/x.ron"]);
    assert_eq!(run.code, 2);
    let run = coldkick(&["size", text(&design), "--table", "--write", "x.ron"]);
    assert_eq!(run.code, 2);
}

#[cfg(unix)]
#[test]
fn an_interrupt_prints_the_best_so_far() {
    use std::process::{Command, Stdio};
    let child = Command::new(assert_cmd::cargo::cargo_bin("coldkick"))
        .args([
            "size",
            "fixtures/designs/sizing-tern.ron",
            "--at-least",
            "99.9 %",
        ])
        .env("NO_COLOR", "1")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    std::thread::sleep(std::time::Duration::from_millis(1500));
    let sent = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .expect("kill runs");
    assert!(sent.success());
    let output = child.wait_with_output().expect("it ends");
    let out = String::from_utf8_lossy(&output.stdout);
    assert!(
        matches!(output.status.code(), Some(0 | 1)),
        "{:?}",
        output.status
    );
    assert!(out.starts_with("PASS") || out.starts_with("FAIL"), "{out}");
    assert!(out.contains("stopped early"), "{out}");
}
