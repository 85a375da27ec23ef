//! A design with fitted values written into it: uncertain values narrowed, a fault made part of it.

use crate::flow::opening::{Opening, PortLaw};
use crate::network::spec::{Path, System};
use crate::study::diagnosis::{Cause, Diagnosis, Explanation, FittedValue, Places};
use crate::units::Dimension;

use super::Design;
use super::document::field_of;
use super::edit::{add, get, remove, retain, set};
use super::error::{DesignError, Problem};
use super::words::quantity;

/// Share of its prior's variance a value must have lost to be written anew.
const WORTH_WRITING: f64 = 0.1;

/// The text of a design with the likeliest explanation of a diagnosis in it: values the traces have
/// narrowed as normal distributions, and so the fault where the design has a field for its very
/// value (otherwise it is fixed). Values that differ from test to test keep what the design says of
/// them. The design may be another than the one tested, if vessels and paths have the same names.
///
/// # Errors
/// A [`DesignError`] where the text cannot be changed.
pub fn with_fitted(design: &Design, diagnosis: &Diagnosis) -> Result<String, DesignError> {
    let name = design.file();
    let mut text = design.text().to_owned();
    for value in &diagnosis.values {
        let Some(path) = value.path.as_deref() else {
            continue;
        };
        // A copy of a pin has no text of its own.
        let copied = path.contains('#');
        if value.trace.is_some() || copied || value.resolved < WORTH_WRITING {
            continue;
        }
        if let Some(written) = get(&text, path) {
            // By path, for the design may be another than the one that was tested.
            let input = design.inputs().iter().find(|input| input.path == path);
            let support = input.map_or((f64::NEG_INFINITY, f64::INFINITY), |input| {
                input.distribution.support()
            });
            text = set(name, &text, path, &narrowed(&written, value, support))?;
        }
    }
    let text = with_frictions_in_order(name, text)?;
    match diagnosis.verdict() {
        Some(verdict) => {
            let text = with_fault(name, text, verdict, &diagnosis.fitted_system)?;
            without_loose_ends(name, text)
        }
        None => Ok(text),
    }
}

/// Two frictions fitted each by itself may cross, which no design may write: then sliding holds as much as sticking.
fn with_frictions_in_order(name: &str, text: String) -> Result<String, DesignError> {
    let sliding = "nose.kinetic_friction";
    match Design::parse(name, &text) {
        Err(error) if error.field() == Some(sliding) => {}
        _ => return Ok(text),
    }
    match get(&text, "nose.static_friction") {
        Some(sticking) => set(name, &text, sliding, &sticking),
        None => remove(name, &text, sliding),
    }
}

/// What a fault that was written over a field leaves behind goes: shared draws that are used nowhere now, and correlations
/// with a field that is gone.
fn without_loose_ends(name: &str, mut text: String) -> Result<String, DesignError> {
    while let Err(error) = Design::parse(name, &text) {
        let Problem::UnusedShared { name: draw, .. } = error.problem() else {
            break;
        };
        let less = remove(name, &text, &format!("shared.{draw}"))?;
        if less == text {
            break;
        }
        text = less;
    }
    let is_there =
        |path: Option<String>| path.is_none_or(|path| get(&text, field_of(&path)).is_some());
    retain(name, &text, "correlations", |pair| {
        ["between.0", "between.1"]
            .iter()
            .all(|place| is_there(get(pair, place)))
    })
}

/// A normal distribution of the width of the interval, within four standard deviations and inside
/// what the design allowed, in the unit of what it stands for, written `like` this.
fn narrowed(like: &str, value: &FittedValue, (least, most): (f64, f64)) -> String {
    let deviation = (value.high - value.low) / (2.0 * 1.644_853_627);
    let inside = 0.98;
    let low = (value.value - 4.0 * deviation).max(value.value - inside * (value.value - least));
    let high = (value.value + 4.0 * deviation).min(value.value + inside * (most - value.value));
    if !(deviation > 0.0 && low < value.value && value.value < high) {
        return quantity(like, value.dimension, value.value);
    }
    format!(
        "normal {} sd {} within {} .. {}",
        quantity(like, value.dimension, value.value),
        quantity(like, value.dimension.difference(), deviation),
        quantity(like, value.dimension, low),
        quantity(like, value.dimension, high),
    )
}

/// A value of the system with the fitted spread of the fault that it is, if it is one.
fn spread(like: &str, faults: &[FittedValue], dimension: Dimension, value: f64) -> String {
    let is = |fault: &&FittedValue| {
        fault.dimension == dimension && (fault.value - value).abs() <= 1e-9 * value.abs()
    };
    match faults.iter().find(is) {
        Some(fault) => {
            let least = if dimension.has_natural_zero() {
                0.0
            } else {
                f64::NEG_INFINITY
            };
            narrowed(like, fault, (least, f64::INFINITY))
        }
        None => quantity(like, dimension, value),
    }
}

fn with_fault(
    name: &str,
    text: String,
    explanation: &Explanation,
    system: &System,
) -> Result<String, DesignError> {
    let cause = explanation.cause;
    let quantity =
        |like: &str, dimension, value| spread(like, &explanation.faults, dimension, value);
    let written = |text: &str, path: &str| get(text, path).unwrap_or_default();
    let places = Places::of(system);
    let path_name = |index: Option<usize>| {
        index
            .and_then(|index| system.paths.get(index))
            .map(|path| (format!("paths.{}", path.name), path))
    };
    let vessel = places
        .cartridge
        .and_then(|index| system.vessels.get(index))
        .map(|vessel| (format!("vessels.{}", vessel.name), vessel));
    let write = |text: String, path: String, value: String| set(name, &text, &path, &value);
    match cause {
        Cause::NothingWrong | Cause::SensorOffset | Cause::SensorLag => Ok(text),
        Cause::SealLeak | Cause::VentOpen => {
            let Some((leak, bay)) = system.paths.last().zip(system.vessels.get(places.bay)) else {
                return Ok(text);
            };
            let entry = format!(
                "(kind: \"leak\", from: {:?}, to: \"ambient\", area: {:?}, discharge_coefficient: \
                 \"{}\")",
                bay.name,
                quantity("", Dimension::Area, leak.area),
                leak.discharge_coefficient
            );
            add(name, &text, "paths", &leak.name, &entry)
        }
        Cause::ValveSlow | Cause::ValveLate | Cause::ValvePartlyOpen => {
            let Some((at, path)) = path_name(places.valve) else {
                return Ok(text);
            };
            let opening = opening(&path.opening);
            let mut text = match get(&text, &format!("{at}.opening")) {
                Some(_) => write(text, format!("{at}.opening"), opening)?,
                None => add(name, &text, &at, "opening", &opening)?,
            };
            // A servo that stops short keeps its bore; any other opening is cut.
            if cause == Cause::ValvePartlyOpen && !matches!(path.opening, Opening::Servo { .. }) {
                text = with_area(name, text, &at, path)?;
            }
            Ok(text)
        }
        Cause::NeckPartlyPierced => match path_name(places.neck) {
            Some((at, path)) => with_area(name, text, &at, path),
            None => Ok(text),
        },
        Cause::CartridgeLight => match vessel {
            Some((at, vessel)) => {
                let path = format!("{at}.charge");
                let charge = quantity(&written(&text, &path), Dimension::Mass, vessel.co2_mass);
                write(text, path, charge)
            }
            None => Ok(text),
        },
        Cause::CartridgeCold => match vessel {
            Some((at, vessel)) => {
                let path = format!("{at}.temperature");
                let like = written(&text, &path);
                let temperature = quantity(&like, Dimension::Temperature, vessel.temperature);
                write(text, path, temperature)
            }
            None => Ok(text),
        },
        Cause::PinsEarly | Cause::PinsStrong => {
            let Some((nose, _)) = &system.nose else {
                return Ok(text);
            };
            let like = written(&text, "nose.pins");
            let pins: Vec<String> = nose
                .pins
                .iter()
                .map(|pin| {
                    format!(
                        "(strength: {:?}, tear_length: {:?})",
                        quantity(&like, Dimension::Force, pin.strength),
                        quantity(&like, Dimension::Length, pin.tear_length)
                    )
                })
                .collect();
            write(
                text,
                "nose.pins".to_owned(),
                format!("[{}]", pins.join(", ")),
            )
        }
        Cause::NoseJammed => {
            let Some((nose, _)) = &system.nose else {
                return Ok(text);
            };
            let frictions = [
                ("nose.static_friction", nose.static_friction),
                ("nose.kinetic_friction", nose.kinetic_friction),
            ];
            frictions.into_iter().try_fold(text, |text, (path, force)| {
                let force = quantity(&written(&text, path), Dimension::Force, force);
                write(text, path.to_owned(), force)
            })
        }
    }
}

/// Fields other than an area that give the size of a path, with what belongs to them alone.
const OTHER_SIZES: [&str; 4] = ["kv", "cv", "decay", "xt"];

/// Writes the area of a path into whichever field gives its size; a flow coefficient or a decay test, which says nothing of
/// the path as it was found, gives way to an area that passes the same.
fn with_area(name: &str, text: String, at: &str, path: &Path) -> Result<String, DesignError> {
    let holes = get(&text, &format!("{at}.holes"))
        .and_then(|holes| holes.trim().parse::<f64>().ok())
        .unwrap_or(1.0);
    let area = path.area / holes;
    let (wide, whole) = (format!("{at}.diameter"), format!("{at}.area"));
    if let Some(like) = get(&text, &wide) {
        let diameter = (4.0 * area / std::f64::consts::PI).sqrt();
        let diameter = quantity(&like, Dimension::Length, diameter);
        return set(name, &text, &wide, &diameter);
    }
    if let Some(like) = get(&text, &whole) {
        return set(name, &text, &whole, &quantity(&like, Dimension::Area, area));
    }
    let text = set(name, &text, &whole, &quantity("", Dimension::Area, area))?;
    let coefficient = format!("{at}.discharge_coefficient");
    let text = set(
        name,
        &text,
        &coefficient,
        &path.discharge_coefficient.to_string(),
    )?;
    OTHER_SIZES.iter().try_fold(text, |text, field| {
        remove(name, &text, &format!("{at}.{field}"))
    })
}

/// An opening as a design writes it.
fn opening(opening: &Opening) -> String {
    let time = |value| quantity("", Dimension::Time, value);
    let angle = |value| quantity("", Dimension::Angle, value);
    match opening {
        Opening::Instant => "instant".to_owned(),
        Opening::Ramp { lag, duration } => {
            format!(
                "ramp(lag: {:?}, duration: {:?})",
                time(*lag),
                time(*duration)
            )
        }
        Opening::Servo {
            lag,
            slew_rate,
            travel,
            port,
        } => {
            let port = match port {
                PortLaw::Ball { full_angle } => {
                    format!("ball(full_angle: {:?})", angle(*full_angle))
                }
                PortLaw::Linear { full_angle } => {
                    format!("linear(full_angle: {:?})", angle(*full_angle))
                }
                PortLaw::Table(points) => {
                    let rows: Vec<String> = points
                        .iter()
                        .map(|(at, share)| {
                            format!(
                                "({:?}, {:?})",
                                angle(*at),
                                quantity("", Dimension::Fraction, *share)
                            )
                        })
                        .collect();
                    format!("table([{}])", rows.join(", "))
                }
            };
            format!(
                "servo(lag: {:?}, slew: {:?}, travel: {:?}, port: {port})",
                time(*lag),
                quantity("", Dimension::SlewTime, 1.0 / slew_rate),
                angle(*travel)
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A path that passes a third of what is written, in whichever way that was.
    #[test]
    fn an_area_replaces_whatever_gave_the_size() {
        let geometric = r#"diameter: "2 mm", discharge_coefficient: "0.8""#;
        let holes = r#"area: "1 mm2", holes: "3", discharge_coefficient: "0.8""#;
        let decay = r#"decay: (volume: "1 L", start: "2 bara", end: "1.5 bara", time: "2 s")"#;
        for size in [
            geometric,
            holes,
            r#"kv: "0.3 m3/h""#,
            r#"kv: "0.3 m3/h", xt: "0.7", holes: "2""#,
            r#"cv: "normal 0.3 sd 0.01", xt: "0.7""#,
            decay,
        ] {
            let text = format!(
                r#"(name: "x", vessels: {{"bay": (kind: "bay", volume: "1 L")}},
                paths: {{"hole": (kind: "vent", from: "bay", to: "ambient", {size})}},
                site: (mode: "bench", pressure: "1 bara", temperature: "20 degC"))"#
            );
            let path = |text: &str| {
                let design = Design::parse("x.ron", text).expect("a design");
                let (system, _) = design.system(&design.central()).expect("a system");
                system.paths[0].clone()
            };
            let whole = path(&text);
            let third = Path {
                area: whole.area / 3.0,
                ..whole
            };
            let changed = with_area("x.ron", text, "paths.hole", &third).expect("a text");
            let found = path(&changed);
            assert!((found.area / third.area - 1.0).abs() < 1e-5, "{changed}");
            assert_eq!(found.discharge_coefficient, third.discharge_coefficient);
        }
    }

    /// Static friction narrowed to below what is written of sliding friction.
    #[test]
    fn fitted_frictions_are_written_in_order() {
        let text = |sliding: &str| {
            format!(
                r#"(name: "x", vessels: {{"bay": (kind: "bay", volume: "1 L")}},
                nose: (vessel: "bay", bore: "98 mm", mass: "1 kg", engagement: "98 mm",
                static_friction: "normal 25 N sd 1 N within 21 N .. 29 N",
                kinetic_friction: "{sliding}"),
                site: (mode: "bench", pressure: "1 bara", temperature: "20 degC"))"#
            )
        };
        let crossed = with_frictions_in_order("x.ron", text("lognormal 30 N factor 1.5"));
        let expected = text("normal 25 N sd 1 N within 21 N .. 29 N");
        assert_eq!(crossed.expect("a text"), expected);
        Design::parse("x.ron", &expected).expect("a design");
        let below = text("lognormal 20 N factor 1.2");
        let kept = with_frictions_in_order("x.ron", below.clone());
        assert_eq!(kept.expect("a text"), below);
    }

    /// A value of 10.05 g, a spread of 0.1 g, of a charge that the design says in ounces: 10.05 g / 28.349523125 g.
    #[test]
    fn what_is_fitted_keeps_the_unit_it_was_written_in() {
        let value = |dimension, value: f64, half: f64| FittedValue {
            label: String::new(),
            path: None,
            input: None,
            trace: None,
            dimension,
            value,
            low: value - half,
            high: value + half,
            expected: value,
            shift: 0.0,
            resolved: 1.0,
        };
        let charge = value(Dimension::Mass, 0.01005, 1.644_853_627e-4);
        let support = (0.0, f64::INFINITY);
        assert_eq!(
            narrowed("normal 0.35 oz sd 0.02 oz", &charge, support),
            "normal 0.354503 oz sd 0.0035274 oz within 0.340394 oz .. 0.368613 oz"
        );
        // 50 degF is 283.15 K; a difference of 9 degF is 5 K.
        let warmth = value(Dimension::Temperature, 283.15, 5.0 * 1.644_853_627);
        let narrow = narrowed("normal 40 degF sd 10 degF", &warmth, (200.0, 400.0));
        assert!(
            narrow.starts_with("normal 50 degF sd 9 degF within 14 degF"),
            "{narrow}"
        );
        assert_eq!(quantity("0.083 in", Dimension::Length, 0.0254), "1 in");
        assert_eq!(quantity("", Dimension::Length, 0.0021), "2.1 mm");
    }
}
