//! `shot`, `check` and `new` as a user sees them: answers, exit codes, files, and every way in which
//! the input can be wrong.

#[path = "common/command.rs"]
mod command;

use command::coldkick;
use std::path::{Path, PathBuf};

use serde_json::Value;

const DUNLIN: &str = "fixtures/designs/dunlin-bench.ron";
const TERN: &str = "fixtures/designs/tern-primary.ron";
const GANNET: &str = "fixtures/designs/gannet-reservoir-backup.ron";

/// A small design that runs in no time: 2 g of CO2 into a bay, one pin.
const SMALL: &str = r#"(
    name: "Small",
    vessels: {
        "cartridge": (kind: "cartridge", charge: "2 g", volume: "3 mL", temperature: "15 degC",
            draw: "vapour", rating: "250 barg"),
        "bay": (kind: "bay", volume: "0.3 L", temperature: "15 degC", rating: "10 barg"),
    },
    paths: {
        "valve": (kind: "valve", from: "cartridge", to: "bay", area: "1 mm2",
            discharge_coefficient: "0.7", flow_blend: "0", opens_at: "0 s", opening: instant),
        "leak": (kind: "leak", from: "bay", to: "ambient", area: "0.5 mm2",
            discharge_coefficient: "0.65"),
    },
    nose: (vessel: "bay", bore: "54 mm", mass: "0.2 kg", engagement: "40 mm",
        pins: [(count: "1", strength: "100 N", tear_length: "0.5 mm")],
        static_friction: "10 N", kinetic_friction: "8 N"),
    site: (mode: "bench", elevation: "0 deg", pressure: "1 bara", temperature: "15 degC"),
    criteria: (clear_within: "0.3 s"),
    horizon: "0.4 s",
)
"#;

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary directory")
}

fn write(folder: &tempfile::TempDir, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
    let path = folder.path().join(name);
    std::fs::write(&path, content).expect("a file");
    path
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a printable path")
}

fn files(folder: &tempfile::TempDir) -> usize {
    std::fs::read_dir(folder.path())
        .expect("a directory")
        .count()
}

/// Runs `shot --plot` on a design that must be refused: exit 2, the word in the message, nothing
/// written anywhere.
#[track_caller]
fn refused(content: impl AsRef<[u8]>, words: &[&str]) {
    let folder = folder();
    let design = write(&folder, "bad.ron", content);
    let plot = folder.path().join("plot.svg");
    let run = coldkick(&["shot", text(&design), "--plot", text(&plot)]);
    assert_eq!(run.code, 2, "{}", run.err);
    assert!(run.out.is_empty(), "{}", run.out);
    for word in words {
        assert!(run.err.contains(word), "no `{word}` in: {}", run.err);
    }
    assert!(!run.err.contains("panicked"), "{}", run.err);
    assert_eq!(files(&folder), 1, "something was written");
}

fn changed(from: &str, to: &str) -> String {
    assert_eq!(SMALL.matches(from).count(), 1, "`{from}` is not there once");
    SMALL.replace(from, to)
}

fn small_json(arguments: &[&str]) -> (i32, Value) {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let mut all = vec!["shot", text(&design), "--format", "json"];
    all.extend(arguments);
    let run = coldkick(&all);
    let value = serde_json::from_str(&run.out)
        .unwrap_or_else(|error| panic!("{error}: {} {}", run.out, run.err));
    (run.code, value)
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} is {}", value[key]))
}

#[test]
fn every_shipped_design_passes_and_says_so_first() {
    for (design, name) in [(DUNLIN, "Dunlin"), (TERN, "Tern"), (GANNET, "Gannet")] {
        let run = coldkick(&["shot", design, "--quiet"]);
        assert_eq!(run.code, 0, "{}", run.err);
        let first = run.out.lines().next().expect("a first line");
        assert!(first.starts_with("PASS") && first.contains(name), "{first}");
        for word in ["nose leaves after", "m/s", "x retention", "closest limit"] {
            assert!(first.contains(word), "no `{word}` in {first}");
        }
        assert!(!run.out.contains('\u{1b}'), "colour in spite of NO_COLOR");
    }
}

#[test]
fn the_text_explains_what_surprises() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&["shot", text(&design)]);
    assert_eq!(run.code, 0, "{}", run.err);
    for part in [
        "Criteria",
        "Numbers",
        "Events",
        "Vessels",
        "Cautions",
        "still in cartridge",
        "Leak balance",
        "Largest tolerable leak",
        "ideal-gas estimate",
        "not a permission",
    ] {
        assert!(run.out.contains(part), "no `{part}` in\n{}", run.out);
    }
}

#[test]
fn us_units_reach_every_number() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&["shot", text(&design), "--units", "us"]);
    for unit in ["ft/s", "psia", "psig", "lbf", "degF", "oz", "in2"] {
        assert!(run.out.contains(unit), "no {unit} in\n{}", run.out);
    }
    for unit in ["bara", "degC", " mm", " N "] {
        assert!(!run.out.contains(unit), "{unit} in\n{}", run.out);
    }
}

#[test]
fn json_has_every_promised_key_and_agrees_with_itself() {
    let (code, shot) = small_json(&[]);
    assert_eq!(code, 0);
    assert_eq!(shot["verdict"], "pass");
    let criteria = shot["criteria"].as_array().expect("criteria");
    for criterion in criteria {
        for key in ["name", "value", "limit", "margin", "pass"] {
            assert!(criterion.get(key).is_some(), "no {key} in {criterion}");
        }
    }
    let events = shot["events"].as_array().expect("events");
    let time_of = |name: &str| {
        events
            .iter()
            .find(|event| event["name"] == name)
            .and_then(|event| event["time_s"].as_f64())
    };
    assert_eq!(
        time_of("pins shear"),
        Some(number(&shot, "pins_break_time_s"))
    );
    assert_eq!(time_of("nose clear"), Some(number(&shot, "clear_time_s")));

    let series = &shot["series"];
    let times = series["time_s"].as_array().expect("times");
    let column = |at: &str| {
        let values = series.pointer(at).and_then(Value::as_array);
        let values = values.unwrap_or_else(|| panic!("no {at}"));
        assert_eq!(values.len(), times.len(), "{at}");
        values
            .iter()
            .map(|v| v.as_f64().unwrap_or(f64::NAN))
            .collect::<Vec<f64>>()
    };
    for key in [
        "pressure_pa",
        "temperature_k",
        "co2_mass_kg",
        "air_mass_kg",
        "solid_kg",
        "liquid_kg",
    ] {
        column(&format!("/vessels/bay/{key}"));
    }
    assert!(series["vessels"]["bay"]["wall_temperature_k"].is_null());
    for key in ["mass_flow_kg_s", "open_area_m2", "choked"] {
        column(&format!("/paths/valve/{key}"));
    }
    for key in ["travel_m", "speed_m_s"] {
        column(&format!("/nose/{key}"));
    }
    // A peak lies between samples: never below them, and not far above.
    for (peak, series) in [
        ("peak_bay_pressure_pa", "/vessels/bay/pressure_pa"),
        ("peak_opening_force_n", "/nose/opening_force_n"),
    ] {
        let highest = column(series).into_iter().fold(0.0, f64::max);
        let ratio = number(&shot, peak) / highest;
        assert!((1.0 - 1e-12..1.005).contains(&ratio), "{peak}: {ratio}");
    }
    assert!(number(&shot, "peak_bay_pressure_time_s") > 0.0);
    assert!(number(&shot, "exit_speed_m_s") > 1.0);
    for key in [
        "mass_closure",
        "energy_closure",
        "steps",
        "rejected_steps",
        "evaluations",
        "stiff_steps",
    ] {
        assert!(shot["audit"][key].is_number(), "no audit.{key}");
    }
    // Pin, friction: what holds the nose is written in the design.
    assert!((number(&shot, "retention_force_n") - 110.0).abs() < 1e-9);
    let factor = number(&shot, "held_opening_force_n") / 110.0;
    assert!((number(&shot, "retention_factor") - factor).abs() < 1e-12);
}

#[test]
fn a_nose_that_stays_fails_with_nulls_and_exit_one() {
    let (code, shot) = small_json(&["--set", "nose.static_friction=4 kN"]);
    assert_eq!(code, 1);
    assert_eq!(shot["verdict"], "fail");
    assert_eq!(shot["first_failed"], "clear_within");
    for key in [
        "pins_break_time_s",
        "clear_time_s",
        "exit_speed_m_s",
        "tolerable_leak_area_m2",
    ] {
        assert!(shot[key].is_null(), "{key} is {}", shot[key]);
    }
    assert!(number(&shot, "retention_factor") < 1.0);
}

/// The leak that is called tolerable is: a tenth less and the nose leaves, a tenth more and it stays.
#[test]
fn the_tolerable_leak_is_where_the_nose_stops_leaving() {
    // As it is, and so hardly held that it bears many times its leak.
    let hardly_held = ["--set", "nose.pins.0.strength=4 N"];
    for held in [&[][..], &hardly_held] {
        let (_, shot) = small_json(held);
        let area = number(&shot, "tolerable_leak_area_m2");
        assert_eq!(shot["tolerable_leak_is_lower_bound"], false);
        // The added hole has a sharp edge like the leak of the design, so their areas add.
        for (share, leaves) in [(0.95, true), (1.05, false)] {
            let leak = format!("paths.leak.area={} mm2", 0.5 + share * area * 1e6);
            let (_, shot) = small_json(&[held, &["--set", &leak]].concat());
            let left = !shot["pins_break_time_s"].is_null();
            assert_eq!(left, leaves, "{held:?} {leak}");
        }
    }
}

#[test]
fn what_could_hurt_or_cannot_happen_is_said() {
    let warned = |set: &str| {
        let (_, shot) = small_json(&["--set", set]);
        let list = shot["warnings"].as_array().expect("warnings").clone();
        list.iter()
            .map(Value::to_string)
            .collect::<Vec<_>>()
            .join("\n")
    };
    let weak = warned("vessels.bay.rating=1 barg");
    assert!(
        weak.contains("A nose that jams would let the bay rise to"),
        "{weak}"
    );
    let sound = warned("vessels.bay.rating=200 barg");
    assert!(!sound.contains("jams"), "{sound}");
    let late = warned("paths.valve.opens_at=100 s");
    assert!(late.contains("raise `horizon`"), "{late}");
    // A nose that nothing holds would be off before the command.
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let pulled = coldkick(&["shot", text(&design), "--set", "nose.hold_down=-9000 N"]);
    assert_eq!(pulled.code, 2, "{}{}", pulled.out, pulled.err);
    for words in ["nose.hold_down", "off before any valve opens"] {
        assert!(pulled.err.contains(words), "{}", pulled.err);
    }
    // Nor one that a spring pushes off: pins and friction hold it with 110 N.
    let spring = r#"spring: (force: "111 N", stroke: "30 mm"), static_friction"#;
    refused(
        changed("static_friction", spring),
        &["nose.spring.force", "hold the nose with 110.0 N"],
    );
}

/// The force drawn and reported has the spring in it, what holds against the pressure has it taken off: both say so.
#[test]
fn with_a_spring_both_forces_say_whether_it_is_in_them() {
    let spring = r#"spring: (force: "60 N", stroke: "30 mm"), static_friction"#;
    let folder = folder();
    let design = write(&folder, "spring.ron", changed("static_friction", spring));
    let picture = folder.path().join("spring.svg");
    let run = coldkick(&["shot", text(&design), "--plot", text(&picture)]);
    for words in [
        "of it 60.0 N by the seated spring",
        "50.0 N against the pressure: 110.0 N less the 60.0 N of the seated spring",
    ] {
        assert!(run.out.contains(words), "{}", run.out);
    }
    let drawn = std::fs::read_to_string(picture).expect("a picture");
    assert!(drawn.contains("retention 110.0 N with the spring"));
    let (_, shot) = small_json(&[]);
    assert_eq!(number(&shot, "retention_force_n"), 110.0);
}

/// A bay without a leak comes ever nearer to a balance; it need not be met to the last digit. Of air, a perfect gas, there
/// is no real one to compare with.
#[test]
fn a_balance_as_good_as_met_is_not_a_rise() {
    let air = SMALL
        .replace(
            r#"kind: "cartridge", charge: "2 g", volume: "3 mL", temperature: "15 degC",
            draw: "vapour", rating: "250 barg""#,
            r#"kind: "reservoir", volume: "0.1 L", temperature: "15 degC", pressure: "3 bara""#,
        )
        .replace(r#"strength: "100 N""#, r#"strength: "10 kN""#)
        .replace(r#"area: "0.5 mm2""#, r#"area: "1e-9 mm2""#);
    let folder = folder();
    let design = write(&folder, "air.ron", &air);
    let rising = |horizon: &str| {
        let horizon = format!("horizon={horizon}");
        let run = coldkick(&["shot", text(&design), "--set", &horizon, "--hold"]);
        assert!(!run.out.contains("ideal-gas"), "{}", run.out);
        run.out.contains("the pressure still rises")
    };
    assert!(rising("0.05 s"));
    assert!(!rising("5 s"));
}

#[test]
fn without_a_nose_there_is_a_pressure_curve_and_a_null() {
    let start = SMALL.find("    nose: (").expect("a nose");
    let end = SMALL.find("    site: (").expect("a site");
    let text_of = format!("{}{}", &SMALL[..start], &SMALL[end..])
        .replace("criteria: (clear_within: \"0.3 s\"),", "");
    let folder = folder();
    let design = write(&folder, "bare.ron", text_of);
    let run = coldkick(&["shot", text(&design), "--format", "json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let shot: Value = serde_json::from_str(&run.out).expect("JSON");
    assert!(shot["series"]["nose"].is_null());
    assert!(shot["clear_time_s"].is_null());
    assert!(number(&shot, "peak_bay_pressure_pa") > 2e5);
    let run = coldkick(&["shot", text(&design)]);
    assert!(
        run.out.starts_with("PASS  Small: no nose: pressure peaks"),
        "{}",
        run.out
    );
}

#[test]
fn hold_keeps_the_nose_on() {
    let (code, shot) = small_json(&["--hold"]);
    assert_eq!(code, 0);
    assert_eq!(shot["nose_held"], true);
    assert!(shot["clear_time_s"].is_null());
    assert_eq!(shot["peak_opening_force_n"], shot["held_opening_force_n"]);
}

#[test]
fn csv_has_one_row_per_time_with_units_in_its_head() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&["shot", text(&design), "--format", "csv", "--quiet"]);
    let mut table = csv::Reader::from_reader(run.out.as_bytes());
    let head = table.headers().expect("a head").clone();
    assert_eq!(&head[0], "time_s");
    for column in [
        "bay.pressure_pa",
        "cartridge.liquid_kg",
        "valve.mass_flow_kg_s",
        "nose.travel_m",
        "valve.choked",
    ] {
        assert!(
            head.iter().any(|name| name == column),
            "no {column} in {head:?}"
        );
    }
    let times: Vec<f64> = table
        .records()
        .map(|row| row.expect("a row")[0].parse().expect("a time"))
        .collect();
    assert!(times.len() > 20 && times.windows(2).all(|pair| pair[0] <= pair[1]));
}

/// A nose that friction alone holds has no pins to break: none are spoken of, in numbers, events, warnings or picture.
#[test]
fn of_a_nose_without_pins_no_pins_are_spoken_of() {
    let folder = folder();
    let pins = "[(count: \"1\", strength: \"100 N\", tear_length: \"0.5 mm\")]";
    assert!(SMALL.contains(pins));
    let design = write(&folder, "free.ron", SMALL.replace(pins, "[]"));
    let svg = folder.path().join("plot.svg");
    let leaves = coldkick(&["shot", text(&design), "--plot", text(&svg)]);
    let friction = "nose.static_friction=5000 N";
    let stays = coldkick(&["shot", text(&design), "--set", friction]);
    for (run, words) in [
        (
            &leaves,
            vec!["nose starts to move", "before the nose stays"],
        ),
        (
            &stays,
            vec!["The nose stays: the bay reaches", "less friction"],
        ),
    ] {
        let said = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
        for word in words {
            assert!(said.contains(word), "no `{word}` in: {said}");
        }
        for word in ["pins break", "pins shear", "pins hold", "weaker pins"] {
            assert!(!said.contains(word), "`{word}` in: {said}");
        }
    }
    let numbers = leaves.out.matches("nose starts to move").count();
    assert_eq!(numbers, 2, "a number and an event: {}", leaves.out);
    let picture = std::fs::read_to_string(&svg).expect("a picture");
    assert!(picture.contains("nose starts to move") && !picture.contains("pins shear"));
    let run = coldkick(&["shot", text(&design), "--format", "json"]);
    let shot: Value = serde_json::from_str(&run.out).expect("JSON");
    assert!(shot["pins_break_time_s"].is_null());
    let moves = shot["events"].as_array().expect("events").iter();
    let mut moves = moves.filter(|event| event["name"] == "nose starts to move");
    assert_eq!(
        moves.next().map(|event| &event["time_s"]),
        Some(&shot["nose_moves_time_s"])
    );
    assert!(!run.out.contains("pins shear") && shot.get("trial").is_none());
}

/// A nose that stays on by far is shown beside what it would have taken, in force and in pressure, and no empty axes
/// for what it did not do.
#[test]
fn the_picture_of_a_nose_that_stays_shows_what_was_needed() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let svg = folder.path().join("plot.svg");
    let strong = "nose.pins.0.strength=9000 N";
    let run = coldkick(&[
        "shot",
        text(&design),
        "--quiet",
        "--set",
        strong,
        "--plot",
        text(&svg),
    ]);
    assert_eq!(run.code, 1, "{}", run.err);
    let picture = std::fs::read_to_string(&svg).expect("a picture");
    // (9000 + 10) N on a bore of 54 mm are 39.34 bar above 1 bara.
    for word in ["retention 9010 N", "needed 40.3 bara", "10000"] {
        assert!(picture.contains(word), "no `{word}` in {picture}");
    }
    for word in ["travel [", "speed ["] {
        assert!(!picture.contains(word), "`{word}` in {picture}");
    }
}

#[test]
fn pictures_are_drawn_and_never_overwritten_unasked() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let svg = folder.path().join("plot.svg");
    let run = coldkick(&["shot", text(&design), "--quiet", "--plot", text(&svg)]);
    assert_eq!(run.code, 0, "{}", run.err);
    let picture = std::fs::read_to_string(&svg).expect("a picture");
    assert!(picture.starts_with("<svg") && picture.trim_end().ends_with("</svg>"));
    for word in [
        "pressure [bara]",
        "opening force [N]",
        "travel",
        "speed [m/s]",
        "pins shear",
    ] {
        assert!(picture.contains(word), "no `{word}`");
    }
    let png = folder.path().join("plot.png");
    coldkick(&["shot", text(&design), "--quiet", "--plot", text(&png)]);
    assert!(
        std::fs::read(&png)
            .expect("a picture")
            .starts_with(b"\x89PNG")
    );

    std::fs::write(&svg, "mine").expect("a file");
    let run = coldkick(&["shot", text(&design), "--plot", text(&svg)]);
    assert_eq!(run.code, 2);
    assert!(
        run.err.contains("--force") && run.out.is_empty(),
        "{}",
        run.err
    );
    assert_eq!(std::fs::read_to_string(&svg).expect("a file"), "mine");
    let run = coldkick(&[
        "shot",
        text(&design),
        "--quiet",
        "--plot",
        text(&svg),
        "--force",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert_ne!(std::fs::read_to_string(&svg).expect("a file"), "mine");
    assert_eq!(files(&folder), 3, "a temporary file was left");
}

#[test]
fn output_that_cannot_be_written_is_refused_before_computing() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let nowhere = folder.path().join("no/such/place/plot.svg");
    for (target, word) in [
        (text(&nowhere), "does not exist"),
        ("plot.pdf", ".svg or .png"),
    ] {
        let run = coldkick(&["shot", text(&design), "--plot", target]);
        assert_eq!(run.code, 2, "{}", run.err);
        assert!(run.err.contains(word), "{}", run.err);
    }
    assert_eq!(files(&folder), 1);
}

/// A hole as wide as a bucket in a manifold of 1.5 mL: what cannot be followed is a vessel with a name, and the way out
/// is said; the numbers of the integrator's state, which have no names, are not.
#[test]
fn a_run_that_cannot_be_followed_names_the_vessel() {
    let run = coldkick(&[
        "shot",
        "fixtures/designs/tern-primary.ron",
        "--set",
        "paths.pierced-neck.diameter=300 mm",
        "--set",
        "paths.valve.diameter=250 mm",
    ]);
    assert_eq!(run.code, 3, "{} {}", run.out, run.err);
    let flat = run.err.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in ["the integration stopped", "`manifold`", "more volume"] {
        assert!(flat.contains(words), "no `{words}` in: {}", run.err);
    }
    assert!(!flat.contains("state ["), "{}", run.err);
}

#[test]
fn wrong_units_name_the_field() {
    refused(
        changed("charge: \"2 g\"", "charge: \"2 mm\""),
        &["vessels.cartridge.charge", "mass"],
    );
    refused(
        changed("charge: \"2 g\"", "charge: \"2\""),
        &["vessels.cartridge.charge"],
    );
    refused(changed("charge: \"2 g\"", "charge: 2"), &["charge"]);
    refused(
        changed("mass: \"0.2 kg\"", "mass: \"0.2 kilograms of nose\""),
        &["nose.mass"],
    );
}

#[test]
fn gauge_is_not_absolute() {
    refused(
        changed("pressure: \"1 bara\"", "pressure: \"1 barg\""),
        &["site.pressure"],
    );
    refused(
        changed("pressure: \"1 bara\"", "pressure: \"1 bar\""),
        &["site.pressure", "bara"],
    );
}

#[test]
fn negative_and_endless_numbers_are_refused() {
    refused(
        changed("volume: \"0.3 L\"", "volume: \"-0.3 L\""),
        &["vessels.bay.volume"],
    );
    refused(
        changed("volume: \"0.3 L\"", "volume: \"0 L\""),
        &["vessels.bay.volume"],
    );
    refused(
        changed("area: \"1 mm2\"", "area: \"inf mm2\""),
        &["paths.valve.area"],
    );
    refused(
        changed("area: \"1 mm2\"", "area: \"NaN mm2\""),
        &["paths.valve.area"],
    );
    refused(
        changed("area: \"1 mm2\"", "area: \"1e400 mm2\""),
        &["paths.valve.area"],
    );
}

#[test]
fn unknown_and_duplicate_fields_are_refused() {
    let unknown = changed("engagement: \"40 mm\"", "engagment: \"40 mm\"");
    refused(unknown, &["engagment", "did you mean", "engagement"]);
    refused(
        changed("bore: \"54 mm\"", "bore: \"54 mm\", bore: \"55 mm\""),
        &["bore", "twice"],
    );
    let twice = changed("\"leak\": (kind", "\"valve\": (kind");
    refused(twice, &["valve", "twice"]);
}

#[test]
fn paths_and_noses_need_their_vessels() {
    refused(
        changed("to: \"bay\"", "to: \"bey\""),
        &["paths.valve.to", "bey", "bay"],
    );
    refused(
        changed("nose: (vessel: \"bay\"", "nose: (vessel: \"attic\""),
        &["nose.vessel"],
    );
}

#[test]
fn impossible_charges_are_refused() {
    refused(
        changed("charge: \"2 g\"", "charge: \"5 g\""),
        &["vessels.cartridge", "filled beyond"],
    );
    let cold = changed(
        "volume: \"3 mL\", temperature: \"15 degC\"",
        "volume: \"3 mL\", temperature: \"-60 degC\"",
    );
    refused(cold, &["vessels.cartridge", "triple point"]);
}

#[test]
fn files_that_are_no_designs_are_refused() {
    refused("", &["empty"]);
    refused(b"(name: \"\xff\xfe\")", &["UTF-8"]);
    refused(vec![b' '; 50_000_000], &["bad.ron", "larger"]);
    refused("hello", &["bad.ron"]);
    let run = coldkick(&["shot", "no-such-design.ron"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("no-such-design.ron"), "{}", run.err);
}

#[test]
fn changes_on_the_command_line_are_checked_like_the_file() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    for (change, word) in [
        ("vessels.cartridge.charge=2 mm", "vessels.cartridge.charge"),
        ("vessels.cartridge.chrge=2 g", "chrge"),
        ("vessels.cartridge.charge", "PATH=VALUE"),
    ] {
        let run = coldkick(&["shot", text(&design), "--set", change]);
        assert_eq!(run.code, 2, "{}", run.err);
        assert!(run.err.contains(word), "no `{word}` in {}", run.err);
    }
    assert_eq!(std::fs::read_to_string(&design).expect("the design"), SMALL);
}

/// A file that is no valid design yet becomes one by the changes; what is still wrong is said.
#[test]
fn changes_on_the_command_line_can_mend_the_file() {
    let folder = folder();
    let charge = "vessels.cartridge.charge=2 g";
    for (slip, mended) in [
        ("charge: \"2 g\"", "charge: \"2 mm\""),
        ("charge: \"2 g\"", "charge: \"-2 g\""),
        ("charge: \"2 g\", ", ""),
    ] {
        let design = write(&folder, "slip.ron", SMALL.replace(slip, mended));
        let run = coldkick(&["shot", text(&design), "--quiet"]);
        assert_eq!(run.code, 2, "{}", run.out);
        let run = coldkick(&["shot", text(&design), "--quiet", "--set", charge]);
        assert_eq!(run.code, 0, "{mended}: {}", run.err);
        assert!(run.out.starts_with("PASS"), "{}", run.out);
        let other = "vessels.bay.volume=0.3 L";
        let run = coldkick(&["shot", text(&design), "--quiet", "--set", other]);
        assert_eq!(run.code, 2, "{}", run.out);
        assert!(run.err.contains("charge"), "{}", run.err);
    }
}

#[test]
fn check_says_what_a_design_means() {
    let folder = folder();
    let design = write(&folder, "small.ron", SMALL);
    let run = coldkick(&["check", text(&design)]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.starts_with("VALID  Small"), "{}", run.out);
    for part in [
        "0.667 kg/L",
        "110.0 N",
        "bay pressure needed",
        "With the nose held",
    ] {
        assert!(run.out.contains(part), "no `{part}` in\n{}", run.out);
    }
    let run = coldkick(&["check", text(&design), "--format", "json"]);
    let check: Value = serde_json::from_str(&run.out).expect("JSON");
    let cartridge = &check["vessels"]["cartridge"];
    assert!((number(cartridge, "fill_density_kg_m3") - 2000.0 / 3.0).abs() < 1e-9);
    // Saturated liquid of 666.7 kg/m3: between 28 and 29 degC in the saturation tables.
    let full = number(cartridge, "liquid_full_temperature_k");
    assert!((300.5..302.5).contains(&full), "{full}");
    let nose = &check["nose"];
    let area = 0.25 * std::f64::consts::PI * 0.054 * 0.054;
    let needed = 1e5 + 110.0 / area;
    assert!((number(nose, "bay_pressure_needed_pa") / needed - 1.0).abs() < 1e-12);

    let bad = write(
        &folder,
        "bad.ron",
        changed("charge: \"2 g\"", "charge: \"2 mm\""),
    );
    let run = coldkick(&["check", text(&bad)]);
    assert_eq!(run.code, 2);
    assert!(
        run.out.is_empty() && run.err.contains("vessels.cartridge.charge"),
        "{}",
        run.err
    );
}

#[test]
fn new_writes_a_design_that_is_valid() {
    let folder = folder();
    let file = folder.path().join("mine.ron");
    let run = coldkick(&[
        "new",
        text(&file),
        "--cartridge",
        "8g",
        "--bore",
        "54 mm",
        "--bench",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.contains("coldkick check"), "{}", run.out);
    let run = coldkick(&["check", text(&file), "--quiet"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.starts_with("VALID"), "{}", run.out);

    let before = std::fs::read(&file).expect("the starter");
    let run = coldkick(&["new", text(&file)]);
    assert_eq!(run.code, 2, "an existing file was overwritten");
    assert_eq!(std::fs::read(&file).expect("the starter"), before);
    let other = folder.path().join("other.ron");
    for (option, value) in [
        ("--cartridge", "17g"),
        ("--bore", "98"),
        ("--bore", "98 kg"),
    ] {
        let run = coldkick(&["new", text(&other), option, value]);
        assert_eq!(run.code, 2, "{option} {value}");
        assert!(
            run.err.contains(option.trim_start_matches('-')),
            "{}",
            run.err
        );
        assert!(!other.exists());
    }
}

#[test]
fn completions_and_manual_name_the_commands() {
    for arguments in [
        &["completions", "bash"][..],
        &["completions", "zsh"],
        &["man"],
    ] {
        let run = coldkick(arguments);
        assert_eq!(run.code, 0, "{}", run.err);
        for command in ["shot", "check", "new"] {
            assert!(run.out.contains(command), "no {command}");
        }
    }
    assert_eq!(coldkick(&["shot"]).code, 2);
    assert_eq!(coldkick(&["shoot"]).code, 2);
}
