//! `odds`, `margins` and `shot --trial` as a user sees them: answers, exit codes, files, large
//! campaigns in slices, and every way in which the input can be wrong.

#[path = "common/command.rs"]
mod command;

use command::{Outcome, binary, outcome};
use std::path::{Path, PathBuf};

use serde_json::Value;

/// A small design with uncertain values that runs in no time and fails now and then.
const SMALL: &str = r#"(
    name: "Small",
    shared: { "soak": "normal 15 degC sd 4 degC" },
    vessels: {
        "cartridge": (kind: "cartridge", charge: "normal 2 g sd 0.1 g within 1.5 g .. 2.4 g",
            volume: "3 mL", temperature: "$soak", draw: "vapour", rating: "250 barg"),
        "bay": (kind: "bay", volume: "0.3 L", temperature: "$soak", rating: "10 barg"),
    },
    paths: {
        "valve": (kind: "valve", from: "cartridge", to: "bay", area: "1 mm2",
            discharge_coefficient: "uniform 0.5 .. 0.8", flow_blend: "0", opens_at: "0 s",
            opening: ramp(lag: "0 s", duration: "uniform 1 ms .. 20 ms")),
        "leak": (kind: "leak", from: "bay", to: "ambient", area: "lognormal 2 mm2 factor 1.7",
            discharge_coefficient: "0.65"),
    },
    nose: (vessel: "bay", bore: "54 mm", mass: "0.2 kg", engagement: "40 mm",
        pins: [(count: "1", strength: "normal 160 N sd 15 N within 100 N .. 250 N",
            tear_length: "0.5 mm")],
        static_friction: "10 N", kinetic_friction: "8 N"),
    site: (mode: "bench", elevation: "0 deg", pressure: "1 bara", temperature: "15 degC"),
    criteria: (clear_within: "0.3 s", exit_speed_least: "6.2 m/s"),
    horizon: "0.4 s",
)
"#;

fn coldkick(folder: &Path, arguments: &[&str]) -> Outcome {
    coldkick_on(2, folder, arguments)
}

fn coldkick_on(threads: usize, folder: &Path, arguments: &[&str]) -> Outcome {
    outcome(
        binary()
            .args(arguments)
            .current_dir(folder)
            .env("RAYON_NUM_THREADS", threads.to_string()),
    )
}

/// A folder with the small design.
fn workshop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary directory");
    std::fs::write(folder.path().join("small.ron"), SMALL).expect("a file");
    folder
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .expect("a directory")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

fn json(run: &Outcome) -> Value {
    serde_json::from_str(&run.out).unwrap_or_else(|error| panic!("{error}: {}", run.err))
}

/// Refused with exit 2, the words in the message, nothing on stdout, nothing written.
#[track_caller]
fn refused(arguments: &[&str], words: &[&str]) {
    let folder = workshop();
    let run = coldkick(folder.path(), arguments);
    assert_eq!(run.code, 2, "{arguments:?}: {}", run.err);
    assert!(run.out.is_empty(), "{}", run.out);
    for word in words {
        assert!(run.err.contains(word), "no `{word}` in: {}", run.err);
    }
    assert_eq!(names(folder.path()), ["small.ron"], "something was written");
}

#[test]
fn the_chance_comes_first_with_its_interval() {
    let folder = workshop();
    let run = coldkick(
        folder.path(),
        &[
            "odds",
            "small.ron",
            "--trials",
            "40",
            "--drivers",
            "8",
            "--plot",
            "odds.svg",
        ],
    );
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(
        run.err.is_empty(),
        "no progress without a terminal: {}",
        run.err
    );
    let first = run.out.lines().next().unwrap();
    assert!(
        first.contains("of 40 trials succeed") && first.contains("95 % interval"),
        "{first}"
    );
    for word in [
        "What fails",
        "exit speed too low",
        "How results spread",
        "What drives it",
        "64 trials of their own",
        "Worst trials",
        "coldkick shot small.ron --seed 1 --trial ",
        "no permission",
    ] {
        assert!(run.out.contains(word), "no `{word}` in: {}", run.out);
    }
    let picture = std::fs::read_to_string(folder.path().join("odds.svg")).unwrap();
    for word in [
        "Pressure under the nose",
        "Outcome, by the first",
        "What drives",
        "Exit speed",
    ] {
        assert!(picture.contains(word), "no `{word}` in the picture");
    }
}

/// Estimates from few rows may lie far beyond what a share can be: they are not shown as one.
#[test]
fn drivers_lost_in_noise_are_no_shares() {
    let folder = workshop();
    let run = |format: &str| {
        let words =
            "odds small.ron --trials 8 --drivers 8 --seed 3 --plot odds.svg --force --format";
        let mut words: Vec<&str> = words.split(' ').collect();
        words.push(format);
        let run = coldkick(folder.path(), &words);
        assert_eq!(run.code, 0, "{}", run.err);
        run
    };
    let document = json(&run("json"));
    let drivers = document["drivers"]["smallest_margin"].as_array().unwrap();
    let strength = drivers
        .iter()
        .find(|driver| driver["input"] == "nose.pins.0.strength#1")
        .unwrap();
    let (first, total) = (&strength["first_order"], &strength["total"]);
    assert!(total["estimate"].as_f64().unwrap() > 2.0, "{strength}");
    assert!(first["estimate"].as_f64().unwrap() < -1.0, "{strength}");

    let text = run("text").out;
    let table = text.split("What drives it").nth(1).unwrap();
    let (table, note) = table.split_once("Sobol indices").unwrap();
    let row = table.lines().find(|line| line.contains("strength#1"));
    assert!(row.unwrap().contains(" to 100 % "), "{table}");
    let rows = table.lines().filter(|line| line.contains(" to "));
    let numbers = rows.flat_map(|line| {
        let cells = line
            .split_once("  ")
            .and_then(|(_, rest)| rest.split_once("  "));
        let cells = cells.map_or("", |(_, cells)| cells);
        let words = cells.split(|letter: char| !letter.is_ascii_digit() && letter != '-');
        words.filter_map(|word| word.parse::<f64>().ok())
    });
    let numbers: Vec<f64> = numbers.collect();
    assert!(numbers.len() > 20, "{table}");
    assert!(
        numbers.iter().all(|share| (0.0..=100.0).contains(share)),
        "{table}"
    );
    let note = note.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        note.contains("lost in its noise") && note.contains("--drivers 128"),
        "{note}"
    );
    let picture = std::fs::read_to_string(folder.path().join("odds.svg")).unwrap();
    assert!(picture.contains("8 rows are few, try --drivers 128"));
}

/// The command that shows a trial again can be given to a shell as it stands, and the smallest margin says whose it is:
/// here trials that fail first by their time fail by more in speed.
#[test]
fn worst_trials_are_shown_by_a_command_that_works() {
    let folder = workshop();
    let name = "it's odd.ron";
    std::fs::write(folder.path().join(name), SMALL).expect("a file");
    let set = [
        "--set",
        "criteria.clear_within=100 ms",
        "--set",
        "criteria.exit_speed_least=40 m/s",
    ];
    let odds = ["odds", name, "--trials", "20", "--drivers", "0"];
    let run = coldkick(folder.path(), &[&odds[..], &set].concat());
    assert!(
        run.out.contains("not clear in time, smallest margin"),
        "{}",
        run.out
    );
    assert!(
        run.out.contains("% (exit speed); see it with"),
        "{}",
        run.out
    );
    let mut lines = run.out.lines().map(str::trim);
    let shown = lines
        .find(|line| line.starts_with("coldkick shot"))
        .expect("a command");
    let words = r"coldkick shot 'it'\''s odd.ron' --set 'criteria.clear_within=100 ms' --set";
    assert!(shown.starts_with(words), "{shown}");
}

/// Numbers add up, trials replay, and the answer does not depend on threads.
#[test]
fn json_adds_up_and_trials_replay() {
    let folder = workshop();
    let arguments = [
        "odds",
        "small.ron",
        "--trials",
        "30",
        "--seed",
        "5",
        "--drivers",
        "0",
        "--format",
        "json",
    ];
    let run = coldkick(folder.path(), &arguments);
    let document = json(&run);
    let count = |key: &str| document[key].as_u64().unwrap();
    assert_eq!(
        count("successes") + count("failures") + count("not_computed"),
        30
    );
    let firsts: u64 = document["criteria"]
        .as_array()
        .unwrap()
        .iter()
        .map(|criterion| criterion["failed_first"].as_u64().unwrap())
        .sum();
    assert_eq!(firsts, count("failures"));
    let band = &document["pressure_band"];
    assert_eq!(band["trials"], 30);
    assert_eq!(
        band["time_s"].as_array().unwrap().len(),
        band["median_pa"].as_array().unwrap().len()
    );
    assert!(document["drivers"].is_null() && document["verdict"].is_null());
    assert_eq!(coldkick_on(1, folder.path(), &arguments).out, run.out);

    let worst = &document["worst"][0];
    let number = worst["trial"].to_string();
    let shot = coldkick(
        folder.path(),
        &[
            "shot",
            "small.ron",
            "--seed",
            "5",
            "--trial",
            &number,
            "--format",
            "json",
        ],
    );
    let shot = json(&shot);
    assert_eq!(shot["first_failed"], worst["first_failed"]);
    for (key, name) in [
        ("exit_speed_m_s", "exit_speed_m_s"),
        ("clear_time_s", "clear_time_s"),
        ("peak_bay_pressure_pa", "peak_bay_pressure_pa"),
    ] {
        // Many runs are less careful than a shot: within 0.1 %.
        match (shot[key].as_f64(), worst["quantities"][name].as_f64()) {
            (Some(shot), Some(trial)) => {
                assert!(
                    (shot / trial - 1.0).abs() < 1e-3,
                    "{key}: {trial} for {shot}"
                );
            }
            (shot, trial) => assert_eq!(shot, trial, "{key}"),
        }
    }
    assert_eq!(shot["trial"]["trial"], worst["trial"]);
    assert_eq!(shot["trial"]["inputs"], worst["inputs"]);
    let told = coldkick(
        folder.path(),
        &["shot", "small.ron", "--seed", "5", "--trial", &number],
    );
    assert!(told.out.contains("Values of this trial") && told.out.contains("usually 2.00 g"));
}

#[test]
fn a_wanted_chance_decides_the_exit_code() {
    let folder = workshop();
    let run = |wanted: &str| {
        coldkick(
            folder.path(),
            &[
                "odds",
                "small.ron",
                "--trials",
                "40",
                "--drivers",
                "0",
                "-q",
                "--at-least",
                wanted,
            ],
        )
    };
    let (low, high) = (run("20%"), run("99.9%"));
    assert_eq!((low.code, high.code), (0, 1), "{} {}", low.out, high.out);
    assert!(
        low.out.starts_with("PASS") && high.out.starts_with("FAIL"),
        "{}",
        high.out
    );
    let open = run("72%");
    assert_eq!(open.code, 1);
    assert!(open.out.starts_with("OPEN"), "{}", open.out);
    assert_eq!(open.out.lines().count(), 1);
}

/// A campaign in slices, merged; one killed on its way and resumed: each is the whole, bit for bit.
#[test]
fn slices_and_interruptions_change_nothing() {
    let folder = workshop();
    let base = [
        "odds",
        "small.ron",
        "--trials",
        "30",
        "--drivers",
        "0",
        "--sampler",
        "sobol",
    ];
    let with = |more: &[&str]| -> Outcome {
        let all: Vec<&str> = base.iter().chain(more).copied().collect();
        coldkick(folder.path(), &all)
    };
    let whole = with(&["--trials-out", "all.csv", "--format", "csv"]);
    assert_eq!(whole.code, 0, "{}", whole.err);
    for slice in ["1/3", "2/3", "3/3"] {
        let file = format!("part{}.csv", &slice[..1]);
        let run = with(&["--slice", slice, "--trials-out", &file]);
        assert_eq!(run.code, 0, "{}", run.err);
        assert!(run.out.contains("slice"), "{}", run.out);
    }
    let merged = coldkick(
        folder.path(),
        &[
            "odds",
            "--merge",
            "part2.csv",
            "part3.csv",
            "part1.csv",
            "--format",
            "csv",
        ],
    );
    assert_eq!(merged.out, whole.out);
    let with_design = coldkick(
        folder.path(),
        &[
            "odds",
            "small.ron",
            "--drivers",
            "0",
            "--format",
            "csv",
            "--merge",
            "all.csv",
        ],
    );
    assert_eq!(with_design.out, whole.out);

    // A run killed in the middle of a line.
    let text = std::fs::read_to_string(folder.path().join("all.csv")).unwrap();
    let cut: usize = text.lines().take(14).map(|line| line.len() + 1).sum();
    std::fs::write(folder.path().join("again.csv.part"), &text[..cut + 25]).unwrap();
    let refused = with(&["--trials-out", "again.csv"]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("--resume"), "{}", refused.err);
    let other = with(&["--trials-out", "again.csv", "--resume", "--seed", "2"]);
    assert_eq!(other.code, 2);
    assert!(other.err.contains("seed 1, not 2"), "{}", other.err);
    let resumed = with(&["--trials-out", "again.csv", "--resume", "--format", "csv"]);
    assert_eq!(resumed.code, 0, "{}", resumed.err);
    assert_eq!(resumed.out, whole.out);
    assert_eq!(
        std::fs::read_to_string(folder.path().join("again.csv")).unwrap(),
        text
    );
    assert!(!folder.path().join("again.csv.part").exists());

    // The same as columns, from a run killed in the middle, and merged with a slice of text.
    std::fs::write(folder.path().join("all.parquet.part"), &text[..cut + 25]).unwrap();
    let columns = ["--trials-out", "all.parquet", "--format", "csv"];
    let refused = with(&columns);
    assert!(refused.code == 2 && refused.err.contains("--resume"));
    let resumed = with(&[&columns[..], &["--resume"]].concat());
    assert_eq!(resumed.code, 0, "{}", resumed.err);
    assert_eq!(resumed.out, whole.out);
    assert!(!folder.path().join("all.parquet.part").exists());
    let run = with(&["--slice", "2/3", "--trials-out", "part2.parquet"]);
    assert_eq!(run.code, 0, "{}", run.err);
    for files in [
        &["all.parquet"][..],
        &["part1.csv", "part2.parquet", "part3.csv"],
    ] {
        let merge = [&["odds", "--format", "csv", "--merge"], files].concat();
        let merged = coldkick(folder.path(), &merge);
        assert_eq!(merged.out, whole.out, "{}", merged.err);
    }

    // Merging what does not belong together.
    let merge = |files: &[&str]| {
        let mut all = vec!["odds", "--merge"];
        all.extend(files);
        let run = coldkick(folder.path(), &all);
        assert_eq!(run.code, 2, "{}", run.out);
        run.err
    };
    assert!(merge(&["part1.csv", "part3.csv"]).contains("missing: 2/3"));
    assert!(merge(&["part1.csv", "part1.csv"]).contains("same trials"));
    assert!(merge(&["small.ron"]).contains("no table of trials"));
    assert!(merge(&["nowhere.csv"]).contains("cannot be read"));
    // Each says the way out.
    let text = std::fs::read_to_string(folder.path().join("part2.csv")).unwrap();
    let broken = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    let rows: Vec<&str> = text.lines().collect();
    broken("short.csv", &(rows[..rows.len() - 2].join("\n") + "\n"));
    broken("twice.csv", &(text.clone() + rows[rows.len() - 1] + "\n"));
    broken("words.csv", &text.replacen("success", "perhaps", 1));
    broken(
        "new.csv",
        &text.replacen("\"layout\":1", "\"layout\":99", 1),
    );
    let many = text.replacen("\"slice\":[2,3]", "\"slice\":[2,18446744073709551615]", 1);
    broken("many.csv", &many);
    broken("waits.csv.part", &text);
    let columns = std::fs::read(folder.path().join("part2.parquet")).unwrap();
    let half = columns.len() / 2;
    let mut bent = columns.clone();
    // Among the columns: those come first.
    bent[100] ^= 1;
    std::fs::write(folder.path().join("bent.parquet"), bent).unwrap();
    std::fs::write(folder.path().join("half.parquet"), &columns[..half]).unwrap();
    for (files, help) in [
        (
            &["part1.csv", "part3.csv"][..],
            "run them with the same seed",
        ),
        (&["part1.csv", "part1.csv"], "name each slice once"),
        (&["small.ron"], "name tables that this version"),
        (&["new.csv"], "name tables that this version"),
        (&["many.csv"], "name tables that this version"),
        (&["nowhere.csv"], "such as --merge part*.csv"),
        (&["waits.csv"], "go on with that slice by --resume"),
        (&["."], "help"),
        (
            &["part1.csv", "short.csv", "part3.csv"],
            "finish that slice with --resume",
        ),
        (
            &["part1.csv", "twice.csv", "part3.csv"],
            "run that slice again",
        ),
        (
            &["part1.csv", "words.csv", "part3.csv"],
            "run that slice again",
        ),
        (
            &["part1.csv", "bent.parquet", "part3.csv"],
            "run that slice again",
        ),
        (&["half.parquet"], "run that slice again"),
    ] {
        let told = merge(files);
        let flat = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            flat.contains("help:") && flat.contains(help),
            "{files:?}: {told}"
        );
    }
    let run = with(&["--seed", "3", "--slice", "2/3", "--trials-out", "seed3.csv"]);
    assert_eq!(run.code, 0);
    assert!(merge(&["part1.csv", "seed3.csv", "part3.csv"]).contains("seed 3, not 1"));
    let changed = coldkick(
        folder.path(),
        &[
            "odds",
            "small.ron",
            "--set",
            "nose.mass=0.3 kg",
            "--merge",
            "all.csv",
        ],
    );
    assert_eq!(changed.code, 2);
    assert!(changed.err.contains("another version"), "{}", changed.err);
}

#[test]
fn bad_input_to_odds_is_refused_before_any_work() {
    refused(
        &["odds", "small.ron", "--drivers", "7"],
        &["--drivers 7", "8 or more", "0 for none"],
    );
    refused(
        &["odds", "small.ron", "--drivers", "18446744073709551615"],
        &["at most 10000000 discharges", "8 discharges"],
    );
    refused(
        &[
            "odds",
            "small.ron",
            "--trials",
            "4",
            "--slice",
            "1/5",
            "--trials-out",
            "a.csv",
        ],
        &["too few for 5 slices", "fewer slices"],
    );
    refused(
        &["odds", "small.ron", "--trials", "0"],
        &["--trials 0", "thousand"],
    );
    refused(
        &["odds", "small.ron", "--trials", "1000000000000"],
        &["at most", "--rare"],
    );
    refused(&["odds", "small.ron", "--trials", "-5"], &["-5"]);
    refused(&["odds", "nowhere.ron"], &["nowhere.ron"]);
    refused(&["odds"], &["DESIGN"]);
    refused(
        &["odds", "small.ron", "--until", "0"],
        &["--until 0", "0.5%"],
    );
    // Even without a failure the interval of a million trials is wider.
    refused(
        &["odds", "small.ron", "--until", "0.0001%"],
        &["3688878 trials or more", "1000000", "--rare"],
    );
    refused(
        &["odds", "small.ron", "--until", "1e-12"],
        &["even if none fails", "--rare"],
    );
    refused(
        &["odds", "small.ron", "--until", "1%", "--trials", "300"],
        &["368 trials or more", "--trials 368"],
    );
    refused(
        &["odds", "small.ron", "--until", "banana"],
        &["--until banana"],
    );
    refused(
        &["odds", "small.ron", "--at-least", "100%"],
        &["--at-least 100%"],
    );
    refused(
        &["odds", "small.ron", "--until", "1%", "--sampler", "latin"],
        &["Latin hypercube", "sobol"],
    );
    refused(&["odds", "small.ron", "--slice", "1/2"], &["--trials-out"]);
    for slice in ["3/2", "0/2", "two", "1/0", "1"] {
        refused(
            &[
                "odds",
                "small.ron",
                "--slice",
                slice,
                "--trials-out",
                "x.csv",
            ],
            &["--slice", "3/8"],
        );
    }
    refused(
        &[
            "odds",
            "small.ron",
            "--trials",
            "2",
            "--slice",
            "1/9",
            "--trials-out",
            "x.csv",
        ],
        &["too few"],
    );
    refused(
        &["odds", "small.ron", "--trials-out", "x.json"],
        &["x.json", ".csv", ".parquet"],
    );
    refused(
        &["odds", "small.ron", "--trials-out", "no/such/place/x.csv"],
        &["no/such/place", "does not exist"],
    );
    refused(
        &["odds", "small.ron", "--trials-out", "x.csv", "--resume"],
        &["x.csv.part"],
    );
    refused(&["odds", "small.ron", "--plot", "x.gif"], &["svg", "png"]);
    if cfg!(target_os = "linux") {
        // A directory that takes no files from anybody.
        for option in [["--trials-out", "/proc/x.csv"], ["--plot", "/proc/x.svg"]] {
            refused(
                &["odds", "small.ron", option[0], option[1]],
                &["could not be written", "takes no files"],
            );
        }
    }
    refused(
        &["odds", "small.ron", "--rare", "--trials", "9"],
        &["--rare"],
    );
    refused(
        &["shot", "small.ron", "--trial", "5", "--sampler", "sobol"],
        &["--trials"],
    );
    refused(
        &["shot", "small.ron", "--trial", "5", "--trials", "5"],
        &["--trial 5", "campaign has 5"],
    );
    // An existing table is not overwritten.
    let folder = workshop();
    std::fs::write(folder.path().join("x.csv"), "precious").unwrap();
    let run = coldkick(
        folder.path(),
        &["odds", "small.ron", "--trials-out", "x.csv"],
    );
    assert_eq!(run.code, 2);
    assert!(
        run.err.contains("exists") && run.err.contains("--force"),
        "{}",
        run.err
    );
    assert_eq!(
        std::fs::read_to_string(folder.path().join("x.csv")).unwrap(),
        "precious"
    );
}

/// Spreads that can leave the valid range and correlations that contradict each other are mistakes
/// of the design, shown where they are written.
#[test]
fn bad_spreads_are_refused_before_any_work() {
    refused(
        &[
            "odds",
            "small.ron",
            "--set",
            "paths.leak.area=normal 2 mm2 sd 1 mm2",
        ],
        &["paths.leak.area"],
    );
    let folder = workshop();
    let design = SMALL.replace(
        "vessels: {",
        "correlations: [\n\
         (between: [\"vessels.cartridge.charge\", \"paths.leak.area\"], rank: \"0.95\"),\n\
         (between: [\"vessels.cartridge.charge\", \"shared.soak\"], rank: \"0.95\"),\n\
         (between: [\"paths.leak.area\", \"shared.soak\"], rank: \"-0.95\")],\n    vessels: {",
    );
    std::fs::write(folder.path().join("bad.ron"), design).unwrap();
    let run = coldkick(folder.path(), &["odds", "bad.ron"]);
    assert_eq!(run.code, 2, "{}", run.err);
    assert!(run.err.contains("contradict"), "{}", run.err);
}

#[test]
fn a_design_without_spread_has_odds_too() {
    let folder = workshop();
    let mut certain = SMALL.to_owned();
    for (spread, value) in [
        ("normal 15 degC sd 4 degC", "15 degC"),
        ("normal 2 g sd 0.1 g within 1.5 g .. 2.4 g", "2 g"),
        ("uniform 0.5 .. 0.8", "0.65"),
        ("uniform 1 ms .. 20 ms", "5 ms"),
        ("lognormal 2 mm2 factor 1.7", "2 mm2"),
        ("normal 160 N sd 15 N within 100 N .. 250 N", "160 N"),
    ] {
        assert_eq!(certain.matches(spread).count(), 1);
        certain = certain.replace(spread, value);
    }
    std::fs::write(folder.path().join("certain.ron"), certain).unwrap();
    let run = coldkick(folder.path(), &["odds", "certain.ron", "--trials", "5"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.contains("no failure in 5 trials"), "{}", run.out);
    let run = coldkick(folder.path(), &["odds", "certain.ron", "--rare"]);
    assert_eq!(run.code, 2);
    assert!(
        run.err.contains("nothing in the design is uncertain"),
        "{}",
        run.err
    );
}

#[test]
fn margins_find_the_leak_that_is_too_much() {
    let folder = workshop();
    let run = coldkick(
        folder.path(),
        &[
            "margins",
            "small.ron",
            "--over",
            "paths.leak.area = 1 .. 9 mm2",
            "--points",
            "3",
            "--trials",
            "14",
            "--at-least",
            "75%",
            "--format",
            "json",
            "--plot",
            "m.svg",
        ],
    );
    assert_eq!(run.code, 0, "{}", run.err);
    let document = json(&run);
    let edge = &document["nominal_edges"][0]["edge"];
    let (inside, outside) = (
        edge["inside"].as_f64().unwrap(),
        edge["outside"].as_f64().unwrap(),
    );
    assert!(1.0 < inside && inside < outside && outside < 9.0);
    // The edge is true: a shot just inside passes, one just outside does not.
    for (area, code) in [(inside, 0), (outside, 1)] {
        let change = format!("paths.leak.area={area} mm2");
        let shot = coldkick(
            folder.path(),
            &["shot", "small.ron", "-q", "--set", &change],
        );
        assert_eq!(shot.code, code, "{}", shot.out);
    }
    let points = document["points"].as_array().unwrap();
    assert_eq!(points.len(), 3);
    assert!(points[0]["pass"].as_bool().unwrap() && !points[2]["pass"].as_bool().unwrap());
    let picture = std::fs::read_to_string(folder.path().join("m.svg")).unwrap();
    assert!(picture.contains("chance [%]") && picture.contains("paths.leak.area [mm2]"));
}

/// A number of pins is whole: what is said of it agrees with a shot of each, and no fraction is tried or spoken of.
#[test]
fn margins_over_a_number_of_pins_stay_with_whole_numbers() {
    let folder = workshop();
    let over = ["--over", "nose.pins.0.count = 1 .. 12"];
    let weak = ["--set", "nose.pins.0.strength=120 N"];
    let wanted = ["--trials", "14", "--at-least", "75%"];
    let run = |more: &[&str]| {
        let mut words = vec!["margins", "small.ron"];
        for part in [&over, &weak, &wanted[..2], &wanted[2..], more] {
            words.extend(part);
        }
        let run = coldkick(folder.path(), &words);
        assert!(run.code < 2, "{}", run.err);
        run
    };
    let document = json(&run(&["--format", "json"]));
    let points = document["points"].as_array().unwrap();
    let whole = |value: &Value| value.as_f64().unwrap().fract() == 0.0;
    assert!(points.iter().all(|point| whole(&point["value"])));
    let passes: Vec<u32> = (1..=12)
        .filter(|count| {
            let count = format!("nose.pins.0.count={count}");
            let shot = ["shot", "small.ron", "-q", weak[0], weak[1], "--set", &count];
            coldkick(folder.path(), &shot).code == 0
        })
        .collect();
    let (first, last) = (passes[0], passes[passes.len() - 1]);
    assert_eq!(passes.len() as u32, last - first + 1, "{passes:?}");
    assert!(first > 1 || last < 12, "nothing ends: {passes:?}");
    for found in document["nominal_edges"].as_array().unwrap() {
        let edge = ["inside", "outside"].map(|side| found["edge"][side].as_f64().unwrap());
        let ends =
            [(first, first - 1), (last, last + 1)].map(|(a, b)| [f64::from(a), f64::from(b)]);
        assert!(ends.contains(&edge), "{edge:?} beside {passes:?}");
        assert!(found["fails"].is_string(), "{found}");
    }
    for points in ["3", "12", "30"] {
        let text = run(&["--points", points]).out;
        assert!(!text.contains("no valid or computable"), "{text}");
        let rows = text
            .lines()
            .skip_while(|line| !line.contains("nose.pins.0.count "));
        let counts = rows.skip(1).map_while(|row| row.split_whitespace().next());
        for count in counts.take_while(|word| word.parse::<f64>().is_ok()) {
            assert!(count.parse::<u32>().is_ok(), "{count} in {text}");
        }
    }
}

/// What is computed at limits between the values asked for is told, and comes to what it does where every number is asked
/// for: 0 at three pins, where a line from two to four would say half of the chance at four.
#[test]
fn what_margins_compute_between_is_told() {
    let folder = workshop();
    let run = |points: &str| {
        let words = [
            "margins",
            "small.ron",
            "--over",
            "nose.pins.0.count = 2 .. 10",
            "--set",
            "nose.pins.0.strength=40 N",
            "--trials",
            "14",
            "--at-least",
            "75%",
            "--points",
            points,
            "--format",
            "json",
        ];
        json(&coldkick(folder.path(), &words))
    };
    let (few, all) = (run("5"), run("9"));
    let counted = |document: &Value, key: &str| -> Vec<(u64, f64)> {
        let points = document[key].as_array().unwrap().iter();
        let known = points.filter_map(|point| {
            let estimate = point["chance"]["estimate"].as_f64()?;
            assert!(!point["margins"]["exit_speed_least"]["band"].is_null());
            Some((point["value"].as_f64()? as u64, estimate))
        });
        known.collect()
    };
    let between = counted(&few, "points_between");
    let values: Vec<u64> = between.iter().map(|(value, _)| *value).collect();
    assert_eq!(values, [3, 5]);
    let every = counted(&all, "points");
    assert!(
        between.iter().all(|point| every.contains(point)),
        "{between:?} of {every:?}"
    );
    assert!(counted(&all, "points_between").is_empty());
}

#[test]
fn margins_over_temperature_give_a_card() {
    let folder = workshop();
    let run = coldkick(
        folder.path(),
        &[
            "margins",
            "small.ron",
            "--over",
            "shared.soak = -20 degC .. 30 degC",
            "--points",
            "2",
            "--trials",
            "6",
            "--at-least",
            "50%",
        ],
    );
    assert!(run.err.is_empty(), "{}", run.err);
    for word in [
        "Launch-day card",
        "guidance, not a permission",
        "-20 degC",
        "30 degC",
        "range rules decide",
    ] {
        assert!(run.out.contains(word), "no `{word}` in: {}", run.out);
    }
}

/// Where every trial has all the force that is followed, the smallest margin is the same in all: nothing
/// drives it, and what drives the exit speed is shown.
#[test]
fn a_margin_followed_no_further_has_no_drivers() {
    let folder = workshop();
    let strong = SMALL
        .replace(
            "normal 160 N sd 15 N within 100 N .. 250 N",
            "normal 40 N sd 4 N",
        )
        .replace(
            r#"clear_within: "0.3 s", exit_speed_least: "6.2 m/s""#,
            r#"retention_factor: "1.1""#,
        );
    std::fs::write(folder.path().join("strong.ron"), strong).expect("a file");
    let arguments = [
        "odds",
        "strong.ron",
        "--trials",
        "40",
        "--drivers",
        "16",
        "--plot",
        "odds.svg",
    ];
    let run = coldkick(folder.path(), &arguments);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(
        run.out.contains("so has the smallest margin"),
        "{}",
        run.out
    );
    let row = run
        .out
        .lines()
        .find(|line| line.trim_start().starts_with("nose.pins.0.strength"))
        .expect("a driver");
    let cells: Vec<&str> = row
        .split("  ")
        .map(str::trim)
        .filter(|c| !c.is_empty())
        .collect();
    assert_eq!(&cells[1..3], &["-", "-"], "{row}");
    assert!(cells[3].contains('%'), "{row}");
    let picture = std::fs::read_to_string(folder.path().join("odds.svg")).expect("a picture");
    assert!(picture.contains("What drives the exit speed"));
}

/// Weather alone cools no cartridge: a card that leaves it warm says so.
#[test]
fn margins_over_the_weather_say_what_stays_warm() {
    let folder = workshop();
    let arguments = [
        "margins",
        "small.ron",
        "--over",
        "site.temperature = -20 .. 30 degC",
        "--points",
        "2",
        "--trials",
        "6",
        "--at-least",
        "50%",
    ];
    let run = coldkick(folder.path(), &arguments);
    assert!(run.code <= 1, "{}", run.err);
    assert!(
        run.err.contains("warning") && run.err.contains("sweep shared.soak"),
        "{}",
        run.err
    );
    let run = coldkick(folder.path(), &[&arguments[..], &["--quiet"]].concat());
    assert!(run.err.is_empty(), "{}", run.err);
}

/// Two values make a map: one row of the table for each pair, crosses where it fails.
#[test]
fn margins_over_two_values_make_a_map() {
    let folder = workshop();
    let run = |format: &str| {
        let run = coldkick(
            folder.path(),
            &[
                "margins",
                "small.ron",
                "--over",
                "paths.leak.area = 1 .. 9 mm2",
                "--over",
                "nose.mass = 0.1 .. 0.4 kg",
                "--points",
                "2",
                "--trials",
                "6",
                "--at-least",
                "50%",
                "--plot",
                "map.svg",
                "--force",
                "--format",
                format,
            ],
        );
        assert!(run.err.is_empty() && run.code <= 1, "{}", run.err);
        run.out
    };
    let table = run("csv");
    let lines: Vec<&str> = table.lines().collect();
    assert_eq!(lines.len(), 5, "{table}");
    assert!(lines[0].starts_with("nose.mass [kg],paths.leak.area [mm2],pass,chance,"));
    let firsts: Vec<(&str, &str)> = lines[1..]
        .iter()
        .map(|line| {
            let mut cells = line.split(',');
            (cells.next().unwrap(), cells.next().unwrap())
        })
        .collect();
    assert_eq!(
        firsts,
        [("0.1", "1"), ("0.1", "9"), ("0.4", "1"), ("0.4", "9")]
    );
    let text = run("text");
    assert!(text.contains("of 4 combinations"), "{text}");
    assert!(text.contains("x: fails with central values"), "{text}");
    let picture = std::fs::read_to_string(folder.path().join("map.svg")).unwrap();
    assert!(picture.contains("chance of success") && picture.contains("nose.mass [kg]"));
}

/// A campaign that stops when the chance is known well enough.
#[test]
fn until_stops_when_the_interval_is_narrow() {
    let folder = workshop();
    let arguments = [
        "odds",
        "small.ron",
        "--until",
        "8%",
        "--drivers",
        "0",
        "--format",
        "json",
    ];
    let document = json(&coldkick(folder.path(), &arguments));
    let chance = |key: &str| document["chance"][key].as_f64().unwrap();
    let half = (chance("high") - chance("estimate")).max(chance("estimate") - chance("low"));
    assert!(half <= 0.08, "{half}");
    let trials = document["trials"].as_u64().unwrap();
    assert!((100..1000).contains(&trials), "{trials}");
}

/// The likeliest way to fail is told in words (failures are not rare here, which keeps it quick).
#[test]
fn rare_failures_are_told_in_words() {
    let folder = workshop();
    let run = coldkick(
        folder.path(),
        &[
            "odds",
            "small.ron",
            "--rare",
            "--set",
            "criteria.exit_speed_least=6.6 m/s",
            "--format",
            "json",
        ],
    );
    assert_eq!(run.code, 0, "{}", run.err);
    let document = json(&run);
    let probability = &document["failure_probability"];
    let number = |key: &str| probability[key].as_f64().unwrap();
    assert!(number("low") < number("estimate") && number("estimate") < number("high"));
    let words = document["likeliest_failure"]["words"].as_str().unwrap();
    assert!(
        words.contains("exit speed too low, with") && words.contains("than usual"),
        "{words}"
    );
}

/// Between words there is no median: of a choice the word that failures have in common is said, with its shares.
#[test]
fn failures_of_a_choice_are_told_in_shares() {
    let folder = workshop();
    let choice = "vessels.cartridge.draw=choice vapour: 60 %, mixed: 40 %";
    let told = ["odds", "small.ron", "--trials", "200", "--set", choice];
    let run = coldkick(folder.path(), &told);
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let text = flat.split("vessels.cartridge.draw: vapour in ").nth(1);
    let text = text.expect("a choice that tells failures apart");
    assert!(text.contains("% of failures, "), "{text}");
    assert!(!flat.contains("median vapour") && !flat.contains("vessels.cartridge.draw low"));
    let document = json(&coldkick(
        folder.path(),
        &[&told[..], &["--format", "json"]].concat(),
    ));
    let modes = document["failure_modes"].as_array().unwrap();
    let mut inputs = modes
        .iter()
        .flat_map(|mode| mode["inputs"].as_array().unwrap());
    let found = inputs
        .find(|found| found["input"] == "vessels.cartridge.draw")
        .unwrap();
    assert_eq!(found["choice"], "vapour");
    assert!(found.get("median_failing").is_none() && found.get("direction").is_none());
    let share = |key: &str| found[key].as_f64().unwrap();
    assert!(share("share_failing") > 0.8 && share("share_passing") < 0.7);
}

#[test]
fn bad_input_to_margins_is_refused_before_any_work() {
    let over = |range: &str, words: &[&str]| {
        refused(&["margins", "small.ron", "--over", range], words);
    };
    over("paths.leak.area", &["no `=`", "site.temperature"]);
    over("paths.leak.area = 1 mm2", &["no `..`"]);
    over("paths.leak.area = low .. high", &["no number"]);
    over("paths.leak.area = 1 mm2 .. 2 cm2", &["same unit"]);
    over("paths.leak.area = 2 .. 2 mm2", &["two different"]);
    over(
        "paths.leak.area = 8 .. 1 mm2",
        &["runs backwards", "\"paths.leak.area = 1 .. 8 mm2\""],
    );
    over("paths.leak.aera = 1 .. 2 mm2", &["aera", "did you mean"]);
    over("paths.leak.area = 1 .. 2 mm", &["an area is expected"]);
    over("paths.leak.area = 1 .. 2", &["paths.leak.area"]);
    over("paths.leak.area = -5 .. -1 mm2", &["paths.leak.area"]);
    over(
        "paths.leak.area = -1 .. 5 mm2",
        &[
            "paths.leak.area",
            "refused at the end of the range, -1 mm2",
            "zero or more",
        ],
    );
    over(
        "vessels.cartridge.charge = 1 .. 4 g",
        &[
            "vessels.cartridge.charge",
            "refused at the end of the range, 4 g",
            "check charge and volume",
        ],
    );
    over("nose.pins = 1 .. 2 N", &["nose.pins"]);
    for text in ["name", "notes"] {
        let not = format!("`{text}` is not a number");
        over(&format!("{text} = 1 .. 2"), &[&not, "such as --over"]);
    }
    over(
        "nose.pins.0.count = 1.5 .. 4",
        &["refused at the end of the range, 1.5", "whole number"],
    );
    over(
        "nose.pins.0.count = 0 .. 3",
        &["refused at the end of the range, 0", "whole number"],
    );
    let area = "paths.leak.area = 1 .. 2 mm2";
    refused(&["margins", "small.ron"], &["--over"]);
    for sweeps in [vec![area], vec!["site.pressure = 0.9 .. 1 bara", area]] {
        let mut words = vec!["margins", "small.ron", "--set", "paths.leak.area=3 mm2"];
        words.extend(sweeps.iter().flat_map(|over| ["--over", over]));
        refused(
            &words,
            &[
                "--set paths.leak.area and --over paths.leak.area",
                "leave out one",
            ],
        );
    }
    refused(
        &["margins", "small.ron", "--over", area, "--over", area],
        &["named twice"],
    );
    refused(
        &["margins", "small.ron", "--over", area, "--points", "1"],
        &["--points 1"],
    );
    refused(
        &["margins", "small.ron", "--over", area, "--trials", "0"],
        &["--trials 0"],
    );
    refused(
        &[
            "margins",
            "small.ron",
            "--over",
            area,
            "--trials",
            "100",
            "--at-least",
            "99%",
        ],
        &["cannot show", "368"],
    );
}

/// The command line never panics on odd sizes of the terminal or of the file names.
#[test]
fn a_long_design_name_is_fine() {
    let folder = workshop();
    let long: PathBuf = folder.path().join(format!("{}.ron", "x".repeat(180)));
    std::fs::write(&long, SMALL).unwrap();
    let run = coldkick(
        folder.path(),
        &[
            "odds",
            long.to_str().unwrap(),
            "--trials",
            "2",
            "--drivers",
            "0",
        ],
    );
    assert_eq!(run.code, 0, "{}", run.err);
}

/// Stopped by Ctrl-C, a campaign that keeps its trials says how many, where they are and how to go on.
#[cfg(unix)]
#[test]
fn a_stopped_campaign_says_how_to_go_on() {
    let folder = workshop();
    let campaign = |trials: &'static str| {
        let words = [
            "odds",
            "small.ron",
            "--drivers",
            "0",
            "-q",
            "--trials",
            trials,
        ];
        [&words[..], &["--trials-out", "t.csv"]].concat()
    };
    let mut stopped = std::process::Command::new(env!("CARGO_BIN_EXE_coldkick"))
        .args(campaign("1000000"))
        .current_dir(folder.path())
        .env("NO_COLOR", "1")
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("it starts");
    let part = folder.path().join("t.csv.part");
    let lines = || std::fs::read_to_string(&part).map_or(0, |text| text.lines().count());
    while lines() < 100 {
        assert!(stopped.try_wait().expect("a process").is_none());
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    let id = stopped.id().to_string();
    let kill = std::process::Command::new("kill")
        .args(["-INT", &id])
        .status();
    assert!(kill.expect("a signal").success());
    let ended = stopped.wait_with_output().expect("an end");
    let said = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert_eq!(ended.status.code(), Some(3), "{said}");
    for word in ["stopped", "t.csv.part holds", "--resume"] {
        assert!(said.contains(word), "no `{word}` in {said}");
    }
    let held: usize = said
        .split_whitespace()
        .zip(said.split_whitespace().skip(1))
        .find_map(|(number, word)| word.starts_with("trials").then(|| number.parse().ok())?)
        .unwrap_or_else(|| panic!("no number of trials in {said}"));
    let rows = std::fs::read_to_string(&part).expect("the trials");
    let rows = rows
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    assert_eq!(rows.count(), held);
}
