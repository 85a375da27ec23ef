//! What more channels and more traces give a diagnosis: each test makes traces of a known truth with
//! `shot --as-trace` and holds the fitted intervals against it.

#[path = "common/command.rs"]
mod command;

use command::coldkick;
use serde_json::Value;

const DUNLIN: &str = "fixtures/designs/dunlin-bench.ron";

struct Workshop(tempfile::TempDir);

impl Workshop {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a temporary directory"))
    }

    fn path(&self, file: &str) -> String {
        self.0.path().join(file).display().to_string()
    }

    /// A trace of the design with changes.
    fn trace(&self, file: &str, changes: &[&str], options: &[&str]) -> String {
        let path = self.path(file);
        let mut arguments = vec!["shot", DUNLIN, "--quiet", "--as-trace", &path];
        for change in changes {
            arguments.extend(["--set", change]);
        }
        arguments.extend(options);
        let run = coldkick(&arguments);
        assert!(run.code <= 1, "{}", run.err);
        path
    }
}

/// A diagnosis as JSON, of the healthy design alone and without the chance.
fn diagnose(traces: &[&str]) -> Value {
    let mut arguments = vec!["diagnose", DUNLIN];
    arguments.extend(traces);
    arguments.extend([
        "--causes",
        "nothing_wrong",
        "--trials",
        "0",
        "--format",
        "json",
    ]);
    let run = coldkick(&arguments);
    assert!(run.code <= 1, "{}", run.err);
    serde_json::from_str(&run.out).expect("JSON")
}

/// Value and ends of the interval of a fitted value of one trace, or of all.
fn fitted(diagnosis: &Value, path: &str, trace: Option<u64>) -> [f64; 3] {
    let value = value(diagnosis, path, trace);
    ["value", "low", "high"].map(|key| value[key].as_f64().expect(key))
}

fn value<'a>(diagnosis: &'a Value, path: &str, trace: Option<u64>) -> &'a Value {
    diagnosis["values"]
        .as_array()
        .expect("values")
        .iter()
        .find(|value| value["path"] == path && value["trace"].as_u64() == trace)
        .unwrap_or_else(|| panic!("no {path} of {trace:?}: {}", diagnosis["values"]))
}

fn width([_, low, high]: [f64; 3]) -> f64 {
    high - low
}

/// Two tests with one striker (its valve begins to open after 3.5 ms, 2 to 8 in the design) on a
/// cold and a warm day: the striker is one value, the day one for each trace; the two
/// together know the striker better than either alone, and the truth lies inside.
#[test]
fn several_traces_share_what_is_common() {
    let workshop = Workshop::new();
    let lag = "paths.struck-neck.opening=ramp(lag: \"3.5 ms\", duration: \"2.5 ms\")";
    let days = [12.0, 24.0];
    let traces: Vec<String> = days
        .iter()
        .enumerate()
        .map(|(index, day)| {
            let day = format!("shared.workshop={day} degC");
            let seed = (index + 3).to_string();
            let file = format!("test{index}.csv");
            let record = ["--record", "cartridge", "--seed", &seed];
            workshop.trace(&file, &[lag, &day], &record)
        })
        .collect();
    let path = "paths.struck-neck.opening.lag";
    let alone: Vec<[f64; 3]> = traces
        .iter()
        .map(|trace| fitted(&diagnose(&[trace]), path, None))
        .collect();
    let all: Vec<&str> = traces.iter().map(String::as_str).collect();
    let together = diagnose(&all);
    let shared = fitted(&together, path, None);
    let truth = 3.5e-3;
    assert!(shared[1] < truth && truth < shared[2], "{shared:?}");
    // Each clock is known to 2 ms and the belief has 1.73 ms: records that show the onset exactly leave
    // 1.31 ms alone and 1.09 ms together, a ratio of 0.83, of which doubts about the onset leave less.
    let least = alone
        .iter()
        .map(|found| width(*found))
        .fold(f64::INFINITY, f64::min);
    assert!(width(shared) < least, "{shared:?} against {alone:?}");
    for (trace, day) in days.iter().enumerate() {
        let [_, low, high] = fitted(&together, "shared.workshop", Some(trace as u64));
        let kelvin = day + 273.15;
        assert!(low < kelvin && kelvin < high, "{kelvin}: {low} {high}");
    }
}

/// Where the nose is off, the fit of the cartridge ends, and its curves go on as the record does: they had stayed where
/// the nose left.
fn after_the_nose_is_off(diagnosis: &Value) {
    let series = diagnosis["series"].as_array().expect("series");
    let cartridge = series
        .iter()
        .find(|one| {
            one["channel"]
                .as_str()
                .is_some_and(|c| c.contains("cartridge"))
        })
        .expect("the cartridge");
    let column = |key: &str| -> Vec<Option<f64>> {
        let values = cartridge[key].as_array().expect(key).iter();
        values.map(Value::as_f64).collect()
    };
    let deviation = column("deviation");
    let off = deviation
        .iter()
        .position(Option::is_none)
        .expect("an end of the fit");
    let measured = column("measured");
    let end = |values: &[Option<f64>]| (values[off], values[values.len() - 1]);
    let (Some(from), Some(to)) = end(&measured) else {
        panic!("{measured:?}")
    };
    assert!(to < 0.8 * from, "{from} to {to}");
    for key in ["fitted", "nominal"] {
        let (Some(first), Some(last)) = end(&column(key)) else {
            panic!("{key}")
        };
        assert!(
            (last / to - 1.0).abs() < 0.25,
            "{key}: {first} to {last} for {to}"
        );
    }
}

/// The cartridge's own pressure tells its temperature, which the bay alone leaves nearly as unknown as
/// it was; travel is used up to where the tether comes taut.
#[test]
fn more_channels_resolve_more() {
    let workshop = Workshop::new();
    let changes = ["shared.workshop=21 degC"];
    let few = workshop.trace("few.csv", &changes, &["--record", "bay"]);
    let many = workshop.trace("many.csv", &changes, &["--record", "bay,cartridge,travel"]);
    let few = diagnose(&[&few]);
    let many = diagnose(&[&many]);
    assert_eq!(many["series"].as_array().expect("series").len(), 3);
    after_the_nose_is_off(&many);
    let understood = many["understood"].to_string();
    assert!(
        understood.contains("where the tether comes taut"),
        "{understood}"
    );
    let of = |diagnosis: &Value| fitted(diagnosis, "shared.workshop", None);
    let (before, after) = (of(&few), of(&many));
    assert!(width(after) < 0.7 * width(before), "{before:?} {after:?}");
    let [value, low, high] = after;
    assert!(low < value && value < high, "{after:?}");
    assert!(low < 294.15 && 294.15 < high, "{after:?}");
}

/// A wire across the joint tells when the nose moved and nothing else: what was read says so, the
/// time fits, and pins that let go are known better than from a cartridge sensor alone.
#[test]
fn a_break_wire_tells_when_the_nose_moved() {
    let workshop = Workshop::new();
    let without = workshop.trace("without.csv", &[], &["--record", "cartridge"]);
    let with = workshop.trace("with.csv", &[], &["--record", "cartridge,wire"]);
    let text = std::fs::read_to_string(&with).expect("a trace");
    assert_eq!(
        text.lines().next(),
        Some("time [s],cartridge [kPa abs],wire [V]")
    );
    let without = diagnose(&[&without]);
    let with = diagnose(&[&with]);
    let resolved = |diagnosis: &Value| {
        let pins = value(diagnosis, "nose.pins.0.shear_strength", None);
        pins["resolved"].as_f64().expect("a share")
    };
    let (before, after) = (resolved(&without), resolved(&with));
    assert!(after > before + 0.05, "{before} {after}");
    let understood = with["understood"].to_string();
    assert!(understood.contains("break wire, broken at"), "{understood}");
    let wire = with["series"]
        .as_array()
        .expect("series")
        .iter()
        .find(|series| series["channel"].to_string().contains("wire"))
        .expect("the wire");
    let of = |key: &str| wire[key][0].as_f64().expect(key);
    assert!(
        (of("measured") - of("fitted")).abs() < 3.0 * of("deviation"),
        "{wire}"
    );
}

/// What a cold cartridge does to the chance, where the force it leaves is near the wanted one:
/// before and after, both with intervals, in the text and in the JSON.
#[test]
fn the_chance_before_and_after_is_told() {
    let told = [
        "diagnose",
        DUNLIN,
        "fixtures/traces/dunlin-cold-cartridge.csv",
        "--gauge",
        "--causes",
        "nothing_wrong,cartridge_cold",
        "--trials",
        "100",
        "--set",
        "criteria.retention_factor=3.5",
    ];
    let run = coldkick(&[&told[..], &["--format", "json"]].concat());
    let json: Value = serde_json::from_str(&run.out).expect("JSON");
    assert_eq!(json["verdict"], "cartridge_cold", "{}", json["causes"]);
    let chance = &json["chance"];
    let of = |side: &str, key: &str| chance[side][key].as_f64().expect(key);
    for side in ["designed", "fitted"] {
        assert_eq!(chance[side]["trials"], 100);
        let (low, estimate, high) = (of(side, "low"), of(side, "estimate"), of(side, "high"));
        assert!(0.0 <= low && low < estimate + 1e-12 && estimate < high + 1e-12 && high <= 1.0);
    }
    assert!(of("designed", "estimate") > 0.8, "{chance}");
    assert!(of("fitted", "high") < of("designed", "low"), "{chance}");
    let run = coldkick(&told);
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("as designed ->") && flat.contains("no permission"),
        "{flat}"
    );
    // Another design can be the one that flies; one that cannot be read is refused first.
    let run = coldkick(&[&told[..], &["--flight", "no-such.ron"]].concat());
    assert_eq!(run.code, 2);
    assert!(run.err.contains("no-such.ron"), "{}", run.err);
}
