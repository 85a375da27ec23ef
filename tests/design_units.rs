//! Quantities as people write them, and SI values as people read them.

use approx::assert_relative_eq;
use coldkick::units::{
    Dimension, Limits, PressureReference, UnitError, UnitSystem, format, format_area, format_force,
    format_gauge_pressure, format_length, format_mass, format_percent, format_pressure,
    format_pressure_difference, format_temperature, format_time, format_volume, parse, significant,
};
use proptest::prelude::*;

fn si(text: &str, dimension: Dimension) -> f64 {
    match parse(text, dimension) {
        Ok(quantity) => quantity.value,
        Err(error) => panic!("{text}: {error}"),
    }
}

fn fault(text: &str, dimension: Dimension) -> UnitError {
    match parse(text, dimension) {
        Ok(quantity) => panic!("{text} was read as {quantity:?}"),
        Err(error) => error,
    }
}

/// Conversion factors from NIST SP 811 (2008), appendix B.8, and the definitions of 1959.
#[test]
fn written_quantities_convert_by_their_defined_factors() {
    use Dimension as D;
    let cases = [
        ("16 g", D::Mass, 0.016),
        ("16g", D::Mass, 0.016),
        ("4 oz", D::Mass, 0.113_398_092_5),
        ("1 lb", D::Mass, 0.453_592_37),
        ("2.4 mm", D::Length, 0.0024),
        ("0.1 in", D::Length, 0.00254),
        ("1.9 km", D::Length, 1900.0),
        ("3.5e2 um", D::Length, 3.5e-4),
        ("1.5 mm2", D::Area, 1.5e-6),
        ("1.5 mm\u{b2}", D::Area, 1.5e-6),
        ("1.5 mm^2", D::Area, 1.5e-6),
        ("1 in2", D::Area, 6.4516e-4),
        ("22 mL", D::Volume, 22e-6),
        ("1.2 L", D::Volume, 1.2e-3),
        ("60 in3", D::Volume, 60.0 * 1.638_706_4e-5),
        ("30 ms", D::Time, 0.030),
        ("2 h", D::Time, 7200.0),
        ("-6 degC", D::Temperature, 267.15),
        ("\u{2212}6 \u{b0}C", D::Temperature, 267.15),
        ("21.2 degF", D::Temperature, 267.15),
        ("32 degF", D::Temperature, 273.15),
        ("300 K", D::Temperature, 300.0),
        ("9 degF", D::TemperatureDifference, 5.0),
        ("5 degC", D::TemperatureDifference, 5.0),
        ("58 bara", D::AbsolutePressure, 5.8e6),
        ("101.325 kPa abs", D::AbsolutePressure, 101_325.0),
        ("1 psi", D::PressureDifference, 6_894.757_293_168),
        ("30 inHg abs", D::AbsolutePressure, 101_591.67),
        ("66.2 MPa", D::Stress, 66.2e6),
        ("9.6 ksi", D::Stress, 9_600.0 * 6_894.757_293_168_361),
        ("150 lbf", D::Force, 150.0 * 4.448_221_615_260_5),
        ("3 kN", D::Force, 3000.0),
        ("40 ft/s", D::Speed, 12.192),
        ("1 gn", D::Acceleration, 9.806_65),
        ("90 deg", D::Angle, std::f64::consts::FRAC_PI_2),
        (
            "0.17 s/60deg",
            D::SlewTime,
            0.17 / (std::f64::consts::PI / 3.0),
        ),
        (
            "0.17 s / 60 deg",
            D::SlewTime,
            0.17 / (std::f64::consts::PI / 3.0),
        ),
        ("60 deg/s", D::SlewTime, 1.0 / (std::f64::consts::PI / 3.0)),
        ("5 kN/m", D::Stiffness, 5000.0),
        ("1 lbf/in", D::Stiffness, 175.126_835_246_476_4),
        ("20 N s/m", D::Damping, 20.0),
        ("0.36 g/h", D::MassFlow, 1e-7),
        ("50 W/(m2 K)", D::HeatTransferCoefficient, 50.0),
        ("50 W/m2/K", D::HeatTransferCoefficient, 50.0),
        (
            "1 BTU/(h ft2 degF)",
            D::HeatTransferCoefficient,
            5.678_263_341_113_486,
        ),
        ("470 J/(kg K)", D::SpecificHeat, 470.0),
        ("0.47 kJ/(kg K)", D::SpecificHeat, 470.0),
        ("1 BTU/(lb degF)", D::SpecificHeat, 4186.8),
        ("0.75 kg/L", D::Density, 750.0),
        ("65 %", D::Fraction, 0.65),
        ("0.65", D::Fraction, 0.65),
        ("1.5", D::Number, 1.5),
    ];
    for (text, dimension, expected) in cases {
        assert_relative_eq!(si(text, dimension), expected, max_relative = 1e-12);
    }
}

#[test]
fn gauge_stays_apart_from_absolute() {
    let gauge = parse("5 psig", Dimension::Pressure).unwrap();
    assert_eq!(gauge.reference, PressureReference::Gauge);
    assert_relative_eq!(gauge.value, 34_473.786_465_84, max_relative = 1e-12);
    let absolute = parse("5 bara", Dimension::Pressure).unwrap();
    assert_eq!(absolute.reference, PressureReference::Absolute);

    let error = fault("5 psig", Dimension::AbsolutePressure);
    assert_eq!(
        error,
        UnitError::GaugePressure {
            text: "5 psig".into()
        }
    );
}

#[test]
fn a_bare_pressure_is_ambiguous_where_a_reference_matters() {
    for (text, absolute) in [
        ("58 bar", "58 bara"),
        ("14.7psi", "14.7 psia"),
        ("101 kPa", "101 kPa abs"),
    ] {
        for dimension in [Dimension::AbsolutePressure, Dimension::Pressure] {
            let error = fault(text, dimension);
            assert!(error.help().contains(absolute), "{}", error.help());
        }
        assert!(parse(text, Dimension::PressureDifference).is_ok());
    }
    let error = fault("2 bara", Dimension::PressureDifference);
    assert!(error.help().contains("`bar`"), "{}", error.help());
}

#[test]
fn each_mistake_is_named_and_its_remedy_given() {
    use Dimension as D;
    let cases = [
        ("", D::Mass, "nothing written", "16 g"),
        ("16", D::Mass, "has no unit", "16 g"),
        ("16 mm", D::Mass, "measures a length", "16 g"),
        ("16 KG", D::Mass, "not a unit of a mass", "`kg`"),
        ("16 grams", D::Mass, "not a unit of a mass", "`g`"),
        ("2,4 mm", D::Length, "comma inside the number", "2.4 mm"),
        (
            "-6 C",
            D::Temperature,
            "not a unit of a temperature",
            "`degC`",
        ),
        (
            "70 F",
            D::Temperature,
            "not a unit of a temperature",
            "`degF`",
        ),
        (
            "about 5 mm",
            D::Length,
            "does not start with a number",
            "2.4 mm",
        ),
        ("nan mm", D::Length, "not a finite number", "2.4 mm"),
        ("inf s", D::Time, "not a finite number", "30 ms"),
        ("1e999 s", D::Time, "not a finite number", "30 ms"),
        (
            "0 deg/s",
            D::SlewTime,
            "not a finite number",
            "0.17 s/60deg",
        ),
        ("2 N", D::Number, "measures a force", "1.5"),
        ("5 -", D::Mass, "not a unit", "g, kg"),
    ];
    for (text, dimension, message, remedy) in cases {
        let error = fault(text, dimension);
        assert!(error.to_string().contains(message), "{text}: {error}");
        assert!(error.help().contains(remedy), "{text}: {}", error.help());
    }
}

#[test]
fn values_are_shown_with_a_fitting_unit_and_sensible_digits() {
    use UnitSystem::{Metric, Us};
    assert_eq!(format_pressure(437_000.0, Metric), "4.37 bara");
    assert_eq!(format_pressure(437_000.0, Us), "63.4 psia");
    assert_eq!(format_pressure(101_325.0, Metric), "1.013 bara");
    assert_eq!(format_gauge_pressure(34_473.786, Us), "5.00 psig");
    assert_eq!(format_pressure_difference(31_000.0, Metric), "0.310 bar");
    assert_eq!(format_pressure_difference(1_300.0, Metric), "13.00 mbar");
    assert_eq!(format_temperature(267.15, Metric), "-6.0 degC");
    assert_eq!(format_temperature(267.15, Us), "21.2 degF");
    assert_eq!(format_temperature(273.149_999, Metric), "0.0 degC");
    assert_eq!(format_mass(0.016, Metric), "16.00 g");
    assert_eq!(format_mass(6.0, Metric), "6.00 kg");
    assert_eq!(format_mass(0.016, Us), "0.564 oz");
    assert_eq!(format_length(0.098, Metric), "98.0 mm");
    assert_eq!(format_length(0.098, Us), "3.86 in");
    assert_eq!(format_area(1.5e-6, Metric), "1.500 mm2");
    assert_eq!(format_volume(22e-6, Metric), "22.0 mL");
    assert_eq!(format_volume(1.2e-3, Metric), "1.200 L");
    assert_eq!(format_time(0.0315, Metric), "31.5 ms");
    assert_eq!(format_time(7_300.0, Metric), "2.03 h");
    assert_eq!(format_force(1_234.4, Metric), "1234 N");
    assert_eq!(format_percent(0.285), "28.5 %");
    assert_eq!(
        format(
            Dimension::SlewTime,
            si("0.17 s/60deg", Dimension::SlewTime),
            Metric
        ),
        "0.1700 s/60deg"
    );
    assert_eq!(significant(0.0), "0");
    assert_eq!(significant(9.996), "10.00");
    assert_eq!(significant(f64::NAN), "undefined");
}

/// A written value, shown again and read again, is the same to the digits shown.
#[test]
fn what_is_shown_can_be_read_back() {
    for dimension in Dimension::ALL {
        let value = si(dimension.example(), dimension);
        if dimension == Dimension::Pressure {
            continue; // the example is gauge; pressures are shown as absolute
        }
        for system in [UnitSystem::Metric, UnitSystem::Us] {
            let shown = format(dimension, value, system);
            let again = si(&shown, dimension);
            let slack = if dimension == Dimension::Temperature {
                0.06
            } else {
                value.abs() * 6e-3
            };
            assert!(
                (again - value).abs() <= slack,
                "{dimension:?}: {value} {shown} {again}"
            );
        }
    }
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,24}", which in 0usize..Dimension::ALL.len()) {
        let dimension = Dimension::ALL[which];
        match parse(&text, dimension) {
            Ok(quantity) => prop_assert!(quantity.value.is_finite()),
            Err(error) => prop_assert!(!error.to_string().is_empty() && !error.help().is_empty()),
        }
    }

    #[test]
    fn any_number_with_any_unit_is_finite_or_an_error(
        number in any::<f64>(),
        unit in "(g|mm|psig|bara|degC|%|s/60deg|deg/s|W/\\(m2 K\\)| )",
        which in 0usize..Dimension::ALL.len(),
    ) {
        if let Ok(quantity) = parse(&format!("{number:e} {unit}"), Dimension::ALL[which]) {
            prop_assert!(quantity.value.is_finite());
        }
    }
}

/// A range is told in the unit of what is written, where that is none of the metric ones.
#[test]
fn ranges_are_told_in_the_unit_written() {
    let altitude = Limits::between(-2000.0, 47_400.0);
    // 2000 m = 6561.68 ft, 47 400 m = 155 511.8 ft.
    for (text, range) in [
        ("900000 ft", "from -6562 ft to 155512 ft"),
        ("900 km", "from -2000 m to 47.4 km"),
        ("normal 900000 ft sd 1 ft", "from -6562 ft to 155512 ft"),
        ("", "from -2000 m to 47.4 km"),
    ] {
        assert_eq!(
            altitude.describe_like(Dimension::Length, text),
            range,
            "{text}"
        );
    }
    let soak = Limits::between(150.0, 700.0);
    // 150 K = -189.67 degF, 700 K = 800.33 degF.
    let told = soak.describe_like(Dimension::Temperature, "900 degF");
    assert_eq!(told, "from -189.7 degF to 800 degF");
}
