//! Design files: what they mean, and what is said about each mistake.

use approx::assert_relative_eq;
use coldkick::design::{Design, DesignError, edit};
use coldkick::network::spec::{Command, End};
use coldkick::statistics::Distribution;
use miette::Diagnostic;

const TERN: &str = include_str!("../fixtures/designs/tern-primary.ron");
const DUNLIN: &str = include_str!("../fixtures/designs/dunlin-bench.ron");
const GANNET: &str = include_str!("../fixtures/designs/gannet-reservoir-backup.ron");

/// A small complete design of certain values, to be spoilt one place at a time.
const SMALL: &str = r#"(
    name: "small",
    vessels: {
        "cartridge": (kind: "cartridge", charge: "16 g", volume: "22 mL", temperature: "20 degC"),
        "bay": (kind: "bay", volume: "1.0 L"),
    },
    paths: {
        "valve": (kind: "valve", from: "cartridge", to: "bay", diameter: "2.4 mm",
                  discharge_coefficient: "0.8"),
    },
    nose: (vessel: "bay", bore: "98 mm", mass: "0.9 kg", body_mass: "5 kg", engagement: "98 mm",
           pins: [(count: "3", strength: "120 N")]),
    site: (mode: "flight", pressure: "0.8 bara", temperature: "10 degC"),
)
"#;

fn read(name: &str, text: &str) -> Design {
    match Design::parse(name, text) {
        Ok(design) => design,
        Err(error) => panic!("{}", show(&error)),
    }
}

fn show(error: &DesignError) -> String {
    let help = error
        .help()
        .map(|help| help.to_string())
        .unwrap_or_default();
    format!("{:?} {error} | {help}", error.position())
}

fn spoil(find: &str, replace: &str) -> DesignError {
    assert!(SMALL.contains(find), "{find}");
    match Design::parse("small.ron", &SMALL.replacen(find, replace, 1)) {
        Ok(_) => panic!("`{replace}` was accepted"),
        Err(error) => error,
    }
}

#[test]
fn the_shipped_designs_are_valid_and_plausible() {
    for (name, text) in [("tern", TERN), ("dunlin", DUNLIN), ("gannet", GANNET)] {
        let design = read(name, text);
        let (system, criteria) = design.system(&design.central()).unwrap();
        let (nose, vessel) = system.nose.clone().unwrap();
        assert_eq!(system.vessels[vessel].name, "bay");
        let pins: f64 = nose.pins.iter().map(|pin| pin.strength).sum();
        assert!((150.0..1200.0).contains(&pins), "{name}: {pins} N");
        let charge: f64 = system.vessels.iter().map(|vessel| vessel.co2_mass).sum();
        let per_litre = charge / system.vessels[vessel].volume;
        assert!((8.0..25.0).contains(&per_litre), "{name}: {per_litre} g/L");
        assert!(criteria.clear_within.is_some());
    }
}

#[test]
fn a_design_means_what_it_says_in_si() {
    let design = read("small.ron", SMALL);
    assert!(design.inputs().is_empty());
    let (system, _) = design.system(&[]).unwrap();
    let [cartridge, bay] = system.vessels.as_slice() else {
        panic!("two vessels")
    };
    assert_eq!(
        (cartridge.co2_mass, cartridge.volume, cartridge.temperature),
        (0.016, 22e-6, 293.15)
    );
    assert_eq!(cartridge.air_mass, 0.0);
    // Air at the site: p V/(R T).
    assert_relative_eq!(
        bay.air_mass,
        0.8e5 * 1e-3 / (287.05 * 283.15),
        max_relative = 1e-12
    );
    let [valve] = system.paths.as_slice() else {
        panic!("one path")
    };
    assert_eq!((valve.from, valve.to), (End::Vessel(0), End::Vessel(1)));
    assert_eq!(valve.command, Command::At(0.0));
    assert_relative_eq!(valve.area, 4.523_893_421e-6, max_relative = 1e-9);
    let (nose, vessel) = system.nose.unwrap();
    assert_eq!((nose.pins.len(), nose.body_mass, vessel), (3, Some(5.0), 1));
}

/// ISO 2533: 1000 m has 281.651 K and 89 876 Pa.
#[test]
fn an_altitude_stands_for_the_standard_atmosphere() {
    let text = SMALL.replacen(
        "pressure: \"0.8 bara\", temperature: \"10 degC\"",
        "altitude: \"1 km\"",
        1,
    );
    let (system, _) = read("x", &text).system(&[]).unwrap();
    assert_relative_eq!(system.ambient.pressures[0], 89_876.0, max_relative = 1e-5);
    assert_relative_eq!(system.ambient.temperatures[0], 281.651, max_relative = 1e-5);
}

#[test]
fn every_uncertain_value_is_an_input_once_and_each_pin_has_its_own() {
    let design = read("tern", TERN);
    let paths: Vec<&str> = design
        .inputs()
        .iter()
        .map(|input| input.path.as_str())
        .collect();
    assert_eq!(
        paths.iter().filter(|path| **path == "shared.soak").count(),
        1
    );
    for path in [
        "vessels.cartridge.charge",
        "vessels.cartridge.volume",
        "vessels.cartridge.draw",
        "paths.valve.opening.slew",
        "nose.pins.0.strength#1",
        "nose.pins.0.strength#3",
        "nose.tether.force_per_strain",
    ] {
        assert!(paths.contains(&path), "{path} in {paths:?}");
    }
    let unique: std::collections::HashSet<_> = paths.iter().collect();
    assert_eq!(unique.len(), paths.len());

    let mut values = design.central();
    let at = |path: &str| paths.iter().position(|other| *other == path).unwrap();
    values[at("shared.soak")] = 260.0;
    values[at("nose.pins.0.strength#2")] = 99.0;
    values[at("vessels.cartridge.draw")] = 2.0;
    let (system, _) = design.system(&values).unwrap();
    assert!(
        system
            .vessels
            .iter()
            .all(|vessel| vessel.temperature == 260.0)
    );
    let strengths: Vec<f64> = system
        .nose
        .unwrap()
        .0
        .pins
        .iter()
        .map(|pin| pin.strength)
        .collect();
    assert_eq!(strengths, [125.0, 99.0, 125.0]);
    assert_eq!(system.vessels[0].draw, coldkick::network::spec::Draw::Mixed);
}

#[test]
fn every_form_of_an_uncertain_value_is_understood() {
    let cases = [
        (
            "normal 16.0 g sd 0.25 g",
            Distribution::Normal {
                mean: 0.016,
                standard_deviation: 0.25e-3,
            },
        ),
        (
            "normal 16 g sd 2 %",
            Distribution::Normal {
                mean: 0.016,
                standard_deviation: 0.32e-3,
            },
        ),
        (
            "normal 16 g sd 0.25 g within 15 g .. 17 g",
            Distribution::TruncatedNormal {
                mean: 0.016,
                standard_deviation: 0.25e-3,
                low: 0.015,
                high: 0.017,
            },
        ),
        (
            "uniform 15g..17g",
            Distribution::Uniform {
                low: 0.015,
                high: 0.017,
            },
        ),
        (
            "triangle 15 g .. 16 g .. 17 g",
            Distribution::Triangular {
                low: 0.015,
                mode: 0.016,
                high: 0.017,
            },
        ),
        (
            "pert 15 g .. 16 g .. 17 g",
            Distribution::Pert {
                low: 0.015,
                mode: 0.016,
                high: 0.017,
            },
        ),
        (
            "lognormal 12 g factor 1.02",
            Distribution::Lognormal {
                median: 0.012,
                factor: 1.02,
            },
        ),
        (
            "beta 15 g .. 17 g shape 2 5",
            Distribution::Beta {
                low: 0.015,
                high: 0.017,
                alpha: 2.0,
                beta: 5.0,
            },
        ),
        (
            "weibull scale 1 g shape 12 above 15 g",
            Distribution::Weibull {
                location: 0.015,
                scale: 0.001,
                shape: 12.0,
            },
        ),
        (
            "sample 16.1 g, 15.9 g",
            Distribution::Empirical {
                values: vec![0.0161, 0.0159],
            },
        ),
        (
            "choice 15 g: 60 %, 16 g: 40 %",
            Distribution::Discrete {
                values: vec![0.015, 0.016],
                weights: vec![0.6, 0.4],
            },
        ),
    ];
    for (text, expected) in cases {
        let changed = edit::set("small.ron", SMALL, "vessels.cartridge.charge", text).unwrap();
        let design = read(text, &changed);
        assert_eq!(design.inputs().len(), 1, "{text}");
        let found = format!("{:?}", design.inputs()[0].distribution);
        let numbers = |text: &str| -> Vec<f64> {
            text.split(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | 'e' | '-')))
                .filter_map(|part| part.parse().ok())
                .collect()
        };
        let (ours, theirs) = (numbers(&found), numbers(&format!("{expected:?}")));
        assert_eq!(
            found.split(' ').next(),
            format!("{expected:?}").split(' ').next()
        );
        assert_eq!(ours.len(), theirs.len(), "{found}");
        for (our, their) in ours.iter().zip(&theirs) {
            assert_relative_eq!(*our, *their, max_relative = 1e-12);
        }
    }
}

#[test]
fn a_shared_draw_may_carry_an_offset_of_its_own() {
    let text = SMALL
        .replacen(
            "name: \"small\",",
            "name: \"small\", shared: {\"soak\": \"normal 10 degC sd 3 K\"},",
            1,
        )
        .replacen(
            "temperature: \"20 degC\"",
            "temperature: \"$soak + normal 4 K sd 1 K\"",
            1,
        )
        .replacen(
            "volume: \"1.0 L\"",
            "volume: \"1.0 L\", temperature: \"$soak - 2 K\"",
            1,
        );
    let design = read("shared", &text);
    assert_eq!(design.inputs().len(), 2);
    let (system, _) = design.system(&[270.0, 5.0]).unwrap();
    assert_eq!(system.vessels[0].temperature, 275.0);
    assert_eq!(system.vessels[1].temperature, 268.0);
}

/// Two frictions drawn apart may cross, and then sliding holds as much as sticking; what is written is in order.
#[test]
fn drawn_frictions_may_cross() {
    let text = SMALL.replacen(
        "mass: \"0.9 kg\"",
        "mass: \"0.9 kg\", static_friction: \"uniform 10 N .. 30 N\", kinetic_friction: \"uniform 5 N .. 25 N\"",
        1,
    );
    let design = read("crossing", &text);
    let paths: Vec<&str> = design.inputs().iter().map(|i| i.path.as_str()).collect();
    let drawn = paths.iter().map(|path| match *path {
        "nose.static_friction" => 12.0,
        "nose.kinetic_friction" => 20.0,
        other => panic!("{other}"),
    });
    let (system, _) = design.system(&drawn.collect::<Vec<f64>>()).unwrap();
    let (nose, _) = system.nose.unwrap();
    assert_eq!((nose.static_friction, nose.kinetic_friction), (12.0, 12.0));
}

/// The closed form while choked: A = V ln(p1/p2)/(t C* sqrt(R T)); 1 L of air from 250 to
/// 240 kPa in 60 s at 293.15 K is 3.4253e-9 m2 of effective area.
#[test]
fn a_pressure_decay_test_gives_the_leak_area() {
    let text = SMALL.replacen(
        "paths: {",
        r#"paths: { "leak": (kind: "leak", from: "bay", to: "ambient", decay: (volume: "1 L",
           start: "250 kPa abs", end: "240 kPa abs", time: "60 s", temperature: "20 degC")),"#,
        1,
    );
    let (system, _) = read("decay", &text).system(&[]).unwrap();
    assert_relative_eq!(system.paths[0].area, 3.4253e-9, max_relative = 2e-5);
    assert_eq!(system.paths[0].discharge_coefficient, 1.0);
}

/// A test in the workshop is read with the air of the workshop, whatever the pressure in flight.
#[test]
fn gauge_readings_of_a_decay_test_count_from_its_own_surroundings() {
    let leak = |readings: &str, site: &str| {
        let leak = format!(
            r#"paths: {{ "leak": (kind: "leak", from: "bay", to: "ambient", decay: (volume: "1 L",
               {readings}, time: "60 s", temperature: "20 degC")),"#
        );
        let text = SMALL.replacen("paths: {", &leak, 1).replacen(
            r#"mode: "flight", pressure: "0.8 bara""#,
            site,
            1,
        );
        Design::parse("decay", &text).map(|design| design.system(&[]).unwrap().0.paths[0].area)
    };
    let flight = r#"mode: "flight", pressure: "0.8 bara""#;
    let bench = r#"mode: "bench", pressure: "1.0 bara""#;
    let gauge = r#"start: "0.6 barg", end: "0.3 barg""#;
    let here = r#"surroundings: "1.0 bara""#;
    let absolute = leak(
        &format!(r#"start: "1.6 bara", end: "1.3 bara", {here}"#),
        flight,
    )
    .unwrap();
    let stated = leak(&format!("{gauge}, {here}"), flight).unwrap();
    assert_relative_eq!(stated, absolute, max_relative = 1e-12);
    assert_relative_eq!(leak(gauge, bench).unwrap(), absolute, max_relative = 1e-12);
    // In flight the air of the site is not that of the test.
    let error = show(&leak(gauge, flight).unwrap_err());
    assert!(
        error.contains("add `surroundings: \"1.013 bara\"`"),
        "{error}"
    );
}

/// Nor is the air of a flight's site as warm as that of the test, by which the area goes.
#[test]
fn a_decay_test_of_a_flight_design_needs_its_own_temperature() {
    let leak = |temperature: &str, site: &str| {
        let leak = format!(
            r#"paths: {{ "leak": (kind: "leak", from: "bay", to: "ambient", decay: (volume: "1 L",
               start: "1.6 bara", end: "1.3 bara", surroundings: "1.0 bara", time: "60 s"{temperature})),"#
        );
        let text = SMALL.replacen("paths: {", &leak, 1).replacen(
            r#"mode: "flight", pressure: "0.8 bara""#,
            site,
            1,
        );
        Design::parse("decay", &text).map(|design| design.system(&[]).unwrap().0.paths[0].area)
    };
    let flight = r#"mode: "flight", pressure: "0.8 bara""#;
    let error = show(&leak("", flight).unwrap_err());
    for words in ["paths.leak.decay.temperature", "add `temperature:"] {
        assert!(error.contains(words), "{error}");
    }
    // On a bench, here at 10 degC, it is that of the site; A goes with one over the root of T.
    let bench = leak("", r#"mode: "bench", pressure: "1.0 bara""#).unwrap();
    let stated = leak(r#", temperature: "60 degC""#, flight).unwrap();
    let expected = (283.15_f64 / 333.15).sqrt();
    assert_relative_eq!(stated / bench, expected, max_relative = 1e-12);
}

/// What can never matter, or never be judged, is a mistake.
#[test]
fn a_vessel_apart_and_criteria_without_a_nose_are_mistakes() {
    let apart = SMALL.replacen(r#"from: "cartridge""#, r#"from: "ambient""#, 1);
    let error = show(&Design::parse("apart", &apart).unwrap_err());
    for words in ["vessels.cartridge", "no path leads to `cartridge`"] {
        assert!(error.contains(words), "{error}");
    }
    let (start, end) = (SMALL.find("    nose: ("), SMALL.find("    site: ("));
    let bare = format!("{}{}", &SMALL[..start.unwrap()], &SMALL[end.unwrap()..]);
    assert!(Design::parse("bare", &bare).is_ok());
    for criterion in ["clear_within: \"1 s\"", "retention_factor: \"2\""] {
        let judged = bare.replacen(
            "    site:",
            &format!("    criteria: ({criterion}),\n    site:"),
            1,
        );
        let error = show(&Design::parse("judged", &judged).unwrap_err());
        let name = criterion.split(':').next().unwrap();
        assert!(error.contains(&format!("criteria.{name}")), "{error}");
    }
}

/// Losses are velocity heads in the tube: with ten times the diameter, and the length, a ten-thousandth
/// of them is left in the area of the valve.
#[test]
fn a_wide_tube_behind_a_narrow_valve_loses_next_to_nothing() {
    let number = |tube: &str, more: &str| {
        let size = "diameter: \"2.4 mm\",";
        let text = SMALL.replacen(size, &format!("{size} {more} tube: ({tube}),"), 1);
        read("tube", &text).system(&[]).unwrap().0.paths[0].friction_number
    };
    let own = number(r#"length: "120 mm", minor_losses: "0.5""#, "");
    assert_relative_eq!(own, 0.02 * 50.0 + 0.5, max_relative = 1e-12);
    let alike = number(
        r#"length: "120 mm", diameter: "2.4 mm", minor_losses: "0.5""#,
        "",
    );
    assert_relative_eq!(alike, own, max_relative = 1e-12);
    let wide = number(
        r#"length: "1200 mm", diameter: "24 mm", minor_losses: "0.5""#,
        "",
    );
    assert_relative_eq!(wide, own * 1e-4, max_relative = 1e-12);
    let narrow = number(r#"length: "120 mm", diameter: "1.2 mm""#, "holes: \"3\",");
    assert_relative_eq!(narrow, 0.02 * 100.0 * 16.0, max_relative = 1e-12);
}

/// Water through Kv = 1 at 1 bar is 1 m3/h by definition.
#[test]
fn a_flow_coefficient_passes_its_defining_flow() {
    for (size, flow) in [("kv: \"1 m3/h\"", 1.0), ("cv: \"1\"", 0.865)] {
        let text = SMALL.replacen(
            "diameter: \"2.4 mm\",\n                  discharge_coefficient: \"0.8\"",
            size,
            1,
        );
        let (system, _) = read("kv", &text).system(&[]).unwrap();
        let path = &system.paths[0];
        let volume_flow = path.discharge_coefficient * path.area * (2.0 * 1e5 / 1000.0_f64).sqrt();
        assert_relative_eq!(volume_flow * 3600.0, flow, max_relative = 1e-3);
    }
}

/// With the maker's xT, gas chokes in the valve as IEC 60534-2-1 says: W = (Kv/36000) (2/3)
/// sqrt(gamma xT/1.4) sqrt(p rho), worked by hand for Kv 1, xT .7, gamma 1.289, C* .66527.
#[test]
fn a_flow_coefficient_with_its_choking_factor_passes_the_gas_of_the_standard() {
    let geometric = "diameter: \"2.4 mm\",\n                  discharge_coefficient: \"0.8\"";
    let text = SMALL.replacen(geometric, "kv: \"1 m3/h\", xt: \"0.7\"", 1);
    let (system, _) = read("xt", &text).system(&[]).unwrap();
    assert_relative_eq!(system.paths[0].area, 2.23470e-5, max_relative = 1e-5);
    let misplaced = SMALL.replacen(geometric, &format!("{geometric}, xt: \"0.7\""), 1);
    let error = match Design::parse("xt", &misplaced) {
        Ok(design) => design.system(&[]).map(|_| ()).unwrap_err(),
        Err(error) => error,
    };
    assert!(show(&error).contains("`xt` belongs to"), "{}", show(&error));
}

#[test]
fn each_mistake_names_its_field_its_place_and_the_remedy() {
    let cases = [
        // (written, instead, field, message, help)
        (
            "\"16 g\"",
            "\"16\"",
            "vessels.cartridge.charge",
            "no unit",
            "16 g",
        ),
        (
            "\"16 g\"",
            "\"16 mm\"",
            "vessels.cartridge.charge",
            "measures a length",
            "g, kg",
        ),
        (
            "\"16 g\"",
            "\"16 gr\"",
            "vessels.cartridge.charge",
            "not a unit",
            "`g`",
        ),
        (
            "\"16 g\"",
            "\"-16 g\"",
            "vessels.cartridge.charge",
            "out of range",
            "more than zero",
        ),
        (
            "\"16 g\"",
            "\"0 g\"",
            "vessels.cartridge.charge",
            "out of range",
            "more than zero",
        ),
        (
            "\"16 g\"",
            "\"nan g\"",
            "vessels.cartridge.charge",
            "not a finite number",
            "16 g",
        ),
        (
            "\"16 g\"",
            "\"1e400 g\"",
            "vessels.cartridge.charge",
            "not a finite number",
            "16 g",
        ),
        (
            "\"16 g\"",
            "\"16,0 g\"",
            "vessels.cartridge.charge",
            "comma",
            "16.0 g",
        ),
        (
            "\"16 g\"",
            "16",
            "vessels.cartridge.charge",
            "in quotes",
            "in quotes",
        ),
        (
            "\"16 g\"",
            "\"16 g +- 0.3 g\"",
            "vessels.cartridge.charge",
            "tolerance",
            "",
        ),
        (
            "\"16 g\"",
            "\"15 g .. 17 g\"",
            "vessels.cartridge.charge",
            "uniform 15 g .. 17 g",
            "",
        ),
        (
            "\"16 g\"",
            "\"normal 16 g\"",
            "vessels.cartridge.charge",
            "not a complete `normal`",
            "sd SPREAD",
        ),
        (
            "\"16 g\"",
            "\"norml 16 g sd 1 g\"",
            "vessels.cartridge.charge",
            "norml",
            "`normal`",
        ),
        (
            "\"16 g\"",
            "\"normal 16 g sd 8 g\"",
            "vessels.cartridge.charge",
            "out of range",
            "within LOW .. HIGH",
        ),
        (
            "\"16 g\"",
            "\"lognormal 16 g factor 1.02 within 15 g .. 17 g\"",
            "vessels.cartridge.charge",
            "only a `normal` is cut off",
            "normal MEAN sd SPREAD within LOW .. HIGH",
        ),
        (
            "\"20 degC\"",
            "\"weibull scale 20 K shape 2\"",
            "vessels.cartridge.temperature",
            "no zero of its own",
            "above VALUE",
        ),
        (
            "\"16 g\"",
            "\"uniform 17 g .. 15 g\"",
            "vessels.cartridge.charge",
            "runs backwards, from 17 g to 15 g",
            "",
        ),
        (
            "\"16 g\"",
            "\"normal 16 g sd 0.2 g within 17 g .. 15 g\"",
            "vessels.cartridge.charge",
            "runs backwards, from 17 g to 15 g",
            "",
        ),
        (
            "\"16 g\"",
            "\"choice 15 g: 60 %, 16 g: 30 %\"",
            "vessels.cartridge.charge",
            "90.0 %",
            "",
        ),
        (
            "\"16 g\"",
            "\"26 g\"",
            "vessels.cartridge.charge",
            "filled beyond",
            "0.60 to 0.76",
        ),
        (
            "\"16 g\"",
            "\"160 g\"",
            "vessels.cartridge.charge",
            "filled beyond",
            "0.60 to 0.76",
        ),
        (
            "\"20 degC\"",
            "\"-60 degC\"",
            "vessels.cartridge.temperature",
            "below the triple point",
            "dry ice",
        ),
        (
            "\"20 degC\"",
            "\"20 C\"",
            "vessels.cartridge.temperature",
            "not a unit",
            "`degC`",
        ),
        (
            "\"20 degC\"",
            "\"$soak\"",
            "vessels.cartridge.temperature",
            "no shared draw",
            "",
        ),
        (
            "\"0.8 bara\"",
            "\"0.8 bar\"",
            "site.pressure",
            "absolute or gauge",
            "0.8 bara",
        ),
        (
            "\"0.8 bara\"",
            "\"0.8 barg\"",
            "site.pressure",
            "gauge pressure",
            "bara",
        ),
        (
            "charge: \"16 g\"",
            "chrage: \"16 g\"",
            "vessels.cartridge.chrage",
            "not known",
            "`charge`",
        ),
        (
            "charge: \"16 g\",",
            "",
            "vessels.cartridge.charge",
            "missing",
            "",
        ),
        (
            "charge: \"16 g\",",
            "charge: \"16 g\", charge: \"12 g\",",
            "vessels.cartridge.charge",
            "twice",
            "remove",
        ),
        (
            "\"bay\": (",
            "\"cartridge\": (",
            "vessels.cartridge",
            "twice",
            "remove",
        ),
        (
            "to: \"bay\"",
            "to: \"bya\"",
            "paths.valve.to",
            "no vessel",
            "`bay`",
        ),
        (
            "to: \"bay\"",
            "to: \"cartridge\"",
            "paths.valve.to",
            "starts and ends",
            "",
        ),
        (
            "kind: \"valve\"",
            "kind: \"vlave\"",
            "paths.valve.kind",
            "not one of",
            "`valve`",
        ),
        (
            "kind: \"valve\"",
            "kind: \"leak\", opens_at: \"1 s\"",
            "paths.valve.opens_at",
            "only a valve",
            "",
        ),
        (
            "diameter: \"2.4 mm\"",
            "diameter: \"2.4 mm\", kv: \"1\"",
            "paths.valve.kv",
            "both give the size",
            "keep one",
        ),
        (
            "vessel: \"bay\"",
            "vessel: \"bays\"",
            "nose.vessel",
            "no vessel",
            "`bay`",
        ),
        (
            "vessel: \"bay\"",
            "vessel: \"ambient\"",
            "nose.vessel",
            "no vessel",
            "bay",
        ),
        ("vessel: \"bay\",", "", "nose.vessel", "missing", ""),
        (
            "count: \"3\"",
            "count: \"2.5\"",
            "nose.pins.0.count",
            "whole number",
            "",
        ),
        (
            "mode: \"flight\"",
            "mode: \"orbit\"",
            "site.mode",
            "not one of flight, bench",
            "",
        ),
        (
            "kind: \"cartridge\"",
            "kind: \"cartridge\", part: \"co2-16\"",
            "vessels.cartridge.part",
            "parts library",
            "`co2-16g`",
        ),
        (
            "mass: \"0.9 kg\"",
            "mass: \"0.9 kg\", static_friction: \"10 N\", kinetic_friction: \"12 N\"",
            "nose.kinetic_friction",
            "sliding friction of 12.00 N holds more than static friction of 10.00 N",
            "at most",
        ),
        (
            "mass: \"0.9 kg\"",
            "mass: \"0.9 kg\", kinetic_friction: \"12 N\"",
            "nose.kinetic_friction",
            "holds more than static friction of 0",
            "leave it out",
        ),
        (
            "temperature: \"20 degC\"),",
            "temperature: \"20 degC\"",
            "",
            "",
            "",
        ),
    ];
    for (written, instead, field, message, help) in cases {
        let error = spoil(written, instead);
        let shown = show(&error);
        if !field.is_empty() {
            assert_eq!(error.field(), Some(field), "{instead}: {shown}");
        }
        assert!(shown.contains(message), "{instead}: {shown}");
        assert!(shown.contains(help), "{instead}: {shown}");
        assert!(error.position().is_some(), "{instead}: {shown}");
    }
}

#[test]
fn the_place_is_the_line_and_column_of_the_value() {
    let error = spoil("\"0.8 bara\"", "\"0.8 bar\"");
    let line = SMALL
        .lines()
        .position(|line| line.contains("site:"))
        .unwrap()
        + 1;
    let column = SMALL.lines().nth(line - 1).unwrap().find("\"0.8").unwrap() + 1;
    assert_eq!(error.position(), Some((line, column)));

    let handler = miette::GraphicalReportHandler::new_themed(miette::GraphicalTheme::none());
    let mut picture = String::new();
    handler.render_report(&mut picture, &error).unwrap();
    assert!(
        picture.contains("small.ron") && picture.contains("0.8 bar"),
        "{picture}"
    );
}

#[test]
fn files_that_are_no_designs_are_refused() {
    let refuse = |bytes: &[u8]| match Design::from_bytes("x.ron", bytes) {
        Ok(_) => panic!("accepted"),
        Err(error) => show(&error),
    };
    assert!(refuse(b"").contains("empty"));
    assert!(refuse(b"  \n\t").contains("empty"));
    assert!(refuse(b"(name: \"caf\xe9\")").contains("not UTF-8"));
    assert!(refuse(&vec![b' '; 50 << 20]).contains("larger than"));
    assert!(refuse(b"()").contains("missing"));
    assert!(refuse(b"// nothing").len() > 10);
    let nested = "[".repeat(100_000);
    assert!(refuse(nested.as_bytes()).len() > 10);

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("big.ron");
    std::fs::write(&path, vec![b'x'; 2 << 20]).unwrap();
    assert!(show(&Design::read(&path).unwrap_err()).contains("larger than"));
    assert!(
        show(&Design::read(&folder.path().join("none.ron")).unwrap_err())
            .contains("cannot be read")
    );
}

#[test]
fn an_unused_or_misused_shared_draw_is_an_error() {
    let unused = SMALL.replacen(
        "name: \"small\",",
        "name: \"small\", shared: {\"soak\": \"5 K\"},",
        1,
    );
    let shown = show(&Design::parse("x", &unused).unwrap_err());
    assert!(shown.contains("used nowhere"));
    assert!(shown.contains("refer to it as"), "{shown}");
    let slip = unused
        .replacen(
            "{\"soak\": \"5 K\"}",
            "{\"soak\": \"290 K\", \"sook\": \"280 K\"}",
            1,
        )
        .replacen("temperature: \"20 degC\"", "temperature: \"$soak\"", 1);
    let shown = show(&Design::parse("x", &slip).unwrap_err());
    assert!(shown.contains("`sook` is used nowhere"), "{shown}");
    assert!(shown.contains("did you mean `soak`?"), "{shown}");
    let twice = unused
        .replacen("temperature: \"20 degC\"", "temperature: \"$soak\"", 1)
        .replacen("\"5 K\"", "\"290 K\"", 1)
        .replacen("bore: \"98 mm\"", "bore: \"$soak\"", 1);
    let shown = show(&Design::parse("x", &twice).unwrap_err());
    assert!(
        shown.contains("a temperature at vessels.cartridge.temperature"),
        "{shown}"
    );
}

#[test]
fn a_draw_that_makes_no_design_is_an_error_that_names_the_field() {
    let text = SMALL.replacen("\"16 g\"", "\"uniform 15 g .. 17 g\"", 1);
    let design = read("x", &text);
    assert!(design.system(&[0.0155]).is_ok());
    for (value, message) in [
        (0.1, "filled beyond"),
        (-0.01, "out of range"),
        (f64::NAN, "out of range"),
    ] {
        let error = design.system(&[value]).unwrap_err();
        assert_eq!(error.field(), Some("vessels.cartridge.charge"));
        assert!(error.to_string().contains(message), "{error}");
    }
    assert!(design.system(&[]).is_err());
}

#[test]
fn a_value_is_changed_in_place_and_a_missing_field_added() {
    let set = |path: &str, value: &str| edit::set("small.ron", SMALL, path, value);
    let cold = set("vessels.cartridge.temperature", "-6 degC").unwrap();
    assert_eq!(cold, SMALL.replacen("\"20 degC\"", "\"-6 degC\"", 1));
    assert_eq!(
        edit::get(&cold, "vessels.cartridge.temperature").as_deref(),
        Some("-6 degC")
    );

    let pin = set("nose.pins.0.strength", "95 N").unwrap();
    assert_eq!(
        read("x", &pin).system(&[]).unwrap().0.nose.unwrap().0.pins[0].strength,
        95.0
    );

    let added = read("x", &set("vessels.bay.temperature", "0 degC").unwrap());
    assert_eq!(added.system(&[]).unwrap().0.vessels[1].temperature, 273.15);

    let section = read("x", &set("criteria.clear_within", "0.4 s").unwrap());
    assert_eq!(section.system(&[]).unwrap().1.clear_within, Some(0.4));

    let switch = read("x", &set("paths.valve.one_way", "true").unwrap());
    assert!(switch.system(&[]).unwrap().0.paths[0].one_way);

    for (path, help) in [
        ("vessels.cartridge.temprature", "`temperature`"),
        ("vessels.catridge.temperature", "`cartridge`"),
        ("nose.pins.7.strength", ""),
        ("", ""),
        ("name.more", ""),
        ("vessels.bay.x y", ""),
    ] {
        let shown = show(&set(path, "1 K").unwrap_err());
        assert!(
            shown.contains("no field") && shown.contains(help),
            "{path}: {shown}"
        );
    }
}

#[test]
fn correlations_name_inputs_and_do_not_contradict_each_other() {
    let gannet = read("gannet", GANNET);
    let [only] = gannet.correlations() else {
        panic!("one correlation")
    };
    assert_eq!(
        (only.first.as_str(), only.second.as_str(), only.rank),
        ("shared.soak", "shared.battery", 0.4)
    );
    let spoil = |instead: &str| {
        let text = GANNET.replacen(
            r#"(between: ["shared.soak", "shared.battery"], rank: "0.4"),"#,
            instead,
            1,
        );
        show(&Design::parse("gannet", &text).unwrap_err())
    };
    let pair =
        |a: &str, b: &str, rank: &str| format!("(between: [\"{a}\", \"{b}\"], rank: \"{rank}\"),");
    let (soak, battery, mass) = ("shared.soak", "shared.battery", "nose.mass");
    let cases = [
        (pair(soak, "shared.batery", "0.4"), "`shared.battery`"),
        (pair(soak, soak, "0.4"), "itself"),
        (pair(soak, battery, "1.4"), "out of range"),
        (pair(soak, battery, "0.4").repeat(2), "more than once"),
        (
            pair(soak, battery, "0.9") + &pair(battery, mass, "0.9") + &pair(soak, mass, "-0.9"),
            "contradict",
        ),
    ];
    for (instead, message) in cases {
        let shown = spoil(&instead);
        assert!(shown.contains(message), "{instead}: {shown}");
    }
}

#[test]
fn a_correlation_with_a_value_that_is_certain_is_left_out() {
    let gannet = read("gannet", GANNET);
    for path in ["shared.soak", "shared.battery"] {
        let value = if path == "shared.soak" {
            "5 degC"
        } else {
            "7 V"
        };
        let text = edit::set("gannet", gannet.text(), path, value).expect("a changed text");
        let fixed = Design::parse("gannet", &text).expect("a valid design");
        assert!(fixed.correlations().is_empty(), "{path}");
        assert_eq!(fixed.inputs().len() + 1, gannet.inputs().len(), "{path}");
        // What is no value stays a slip, and so does a rank out of range.
        for (before, after, message) in [
            ("\"shared.battery\"]", "\"nose\"]", "is not known here"),
            ("rank: \"0.4\"", "rank: \"1.4\"", "out of range"),
        ] {
            let spoilt = text.replacen(before, after, 1);
            let shown = show(&Design::parse("gannet", &spoilt).unwrap_err());
            assert!(shown.contains(message), "{shown}");
        }
    }
}
