//! Shear pins against thread tables and material sheets (fixtures/published/shear-pins).

use approx::assert_relative_eq;
use coldkick::design::Design;
use coldkick::mechanics::shear_pin::{PinMaterial, Thread, single_shear_load};

const TABLE: &str = include_str!("../fixtures/published/shear-pins/data.csv");

/// Diameters are printed to 0.001 mm and loads to 1 N: half a unit of the last digit.
#[test]
fn root_diameters_and_loads_are_those_printed() {
    let nylon = PinMaterial::named("nylon-6/6").unwrap();
    let mut rows = csv::Reader::from_reader(TABLE.as_bytes());
    let mut compared = 0;
    for row in rows.records() {
        let row = row.unwrap();
        let thread = Thread::named(&row[0]).unwrap();
        let area = thread.root_area();
        if let Ok(diameter_mm) = row[1].parse::<f64>() {
            let root = (4.0 * area / std::f64::consts::PI).sqrt() * 1e3;
            assert!((root - diameter_mm).abs() <= 5e-4, "{}: {root} mm", &row[0]);
            compared += 1;
        }
        if let Ok(load) = row[2].parse::<f64>() {
            let ours = single_shear_load(nylon, 66.2e6, area, 296.15, 0.0).unwrap();
            assert!((ours - load).abs() <= 0.5, "{}: {ours} N", &row[0]);
            compared += 1;
        }
    }
    assert_eq!(compared, 5);
}

/// Tensile strength of nylon 6/6 in MPa, dry and at 50 % humidity: the shear strength follows.
#[test]
fn nylon_weakens_with_warmth_and_moisture_as_its_tensile_strength() {
    let nylon = PinMaterial::named("nylon-6/6").unwrap();
    for (celsius, dry, moist) in [
        (-40.0, 114.0, 110.0),
        (23.0, 83.0, 77.0),
        (77.0, 62.0, 41.0),
    ] {
        let at = |humidity| nylon.relative_strength(celsius + 273.15, humidity).unwrap();
        assert_relative_eq!(at(0.0), dry / 83.0, max_relative = 1e-12);
        assert_relative_eq!(at(0.5), moist / 83.0, max_relative = 1e-12);
        assert_relative_eq!(at(0.25), 0.5 * (dry + moist) / 83.0, max_relative = 1e-12);
    }
    assert!(nylon.relative_strength(220.0, 0.0).is_err());
    assert!(nylon.relative_strength(296.15, 0.6).is_err());
}

#[test]
fn a_design_may_give_pins_by_material_and_thread() {
    let tern = include_str!("../fixtures/designs/tern-primary.ron");
    let start = tern.find("(count: \"3\"").unwrap();
    let end = start + tern[start..].find("),").unwrap() + 1;
    let text = format!(
        "{}(count: \"3\", material: \"nylon-6/6\", thread: \"M2\", temperature: \"$soak\"){}",
        &tern[..start],
        &tern[end..]
    );
    let design = Design::parse("tern.ron", &text).unwrap();
    let paths: Vec<_> = design
        .inputs()
        .iter()
        .map(|input| input.path.as_str())
        .collect();
    assert!(paths.contains(&"nose.pins.0.shear_strength"));
    assert!(paths.contains(&"nose.pins.0.scatter#3"));
    let strength = |soak: f64| {
        let mut values = design.central();
        values[paths
            .iter()
            .position(|path| *path == "shared.soak")
            .unwrap()] = soak;
        design.system(&values).unwrap().0.nose.unwrap().0.pins[0].strength
    };
    // 63.2 MPa, the middle of what is published, on a root of 1.509 mm, 77/83 of it in moist air.
    assert_relative_eq!(
        strength(296.15),
        63.2e6 * 1.7885e-6 * 77.0 / 83.0,
        max_relative = 1e-3
    );
    assert!(strength(260.0) > strength(296.15));

    for (wrong, field, help) in [
        (
            ("\"nylon-6/6\"", "\"nylon\""),
            "nose.pins.0.material",
            "`nylon-6/6`",
        ),
        (("\"M2\"", "\"M7\""), "nose.pins.0.thread", "M2.5"),
        (("thread: \"M2\", ", ""), "nose.pins.0.thread", "missing"),
        (
            ("\"nylon-6/6\",", "\"nylon-6/6\", strength: \"9 N\","),
            "nose.pins.0.strength",
            "both",
        ),
    ] {
        let error = Design::parse("tern.ron", &text.replacen(wrong.0, wrong.1, 1)).unwrap_err();
        assert_eq!(error.field(), Some(field));
        let shown = format!(
            "{error} {:?}",
            miette::Diagnostic::help(&error).map(|h| h.to_string())
        );
        assert!(shown.contains(help), "{shown}");
    }
}
