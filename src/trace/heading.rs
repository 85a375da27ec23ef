//! What a heading means: "t [ms]", "p_bay (kPa)", "Pressure psi", "cartridge.pressure_pa".

/// What a pressure is measured from, as a heading says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reference {
    /// Vacuum.
    Absolute,
    /// The surrounding air.
    Gauge,
}

/// A unit with its kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Unit {
    /// SI seconds in one.
    Time(f64),
    /// SI pascals in one, and what it is measured from, if the unit says so.
    Pressure(f64, Option<Reference>),
    /// SI metres in one.
    Length(f64),
    /// SI volts in one.
    Voltage(f64),
    /// Kelvins, degrees, amperes, newtons: nothing a diagnosis uses.
    Other,
}

const PSI: f64 = 6_894.757_293_168;

/// The unit a word stands for, in any case; `None` if it is none.
pub(super) fn unit(word: &str) -> Option<Unit> {
    use Reference::{Absolute, Gauge};
    let word = word
        .trim()
        .to_lowercase()
        .replace(['\u{b5}', '\u{3bc}'], "u");
    let word = word.trim_matches(|c: char| matches!(c, '[' | ']' | '(' | ')' | '.' | ' '));
    let time = match word {
        "s" | "sec" | "secs" | "second" | "seconds" => Some(1.0),
        "ms" | "msec" | "millisecond" | "milliseconds" | "millis" => Some(1e-3),
        "us" | "usec" | "microsecond" | "microseconds" | "micros" => Some(1e-6),
        "ns" => Some(1e-9),
        "min" | "minute" | "minutes" => Some(60.0),
        _ => None,
    };
    if let Some(scale) = time {
        return Some(Unit::Time(scale));
    }
    let length = match word {
        "mm" => Some(1e-3),
        "cm" => Some(1e-2),
        "m" => Some(1.0),
        "in" | "inch" | "inches" => Some(0.0254),
        _ => None,
    };
    if let Some(scale) = length {
        return Some(Unit::Length(scale));
    }
    match word {
        "v" | "volt" | "volts" => return Some(Unit::Voltage(1.0)),
        "mv" => return Some(Unit::Voltage(1e-3)),
        "k" | "degc" | "c" | "\u{b0}c" | "degf" | "\u{b0}f" | "n" | "kn" | "lbf" | "a" | "ma"
        | "g" | "kg" | "m/s" | "m/s2" | "deg" | "rad" | "%" => return Some(Unit::Other),
        _ => {}
    }
    // "bar g", "bar(a)", "kPa abs", "psi gauge", "psig", "bara".
    let compact: String = word
        .chars()
        .filter(|c| !matches!(c, ' ' | '_' | '(' | ')' | '.' | '-'))
        .collect();
    let bases: [(&str, f64); 14] = [
        ("pa", 1.0),
        ("pascal", 1.0),
        ("hpa", 100.0),
        ("kpa", 1e3),
        ("mpa", 1e6),
        ("mbar", 100.0),
        ("bar", 1e5),
        ("bars", 1e5),
        ("psi", PSI),
        ("atm", 101_325.0),
        ("torr", 101_325.0 / 760.0),
        ("mmhg", 133.322_387_415),
        ("inhg", 3_386.389),
        ("kgf/cm2", 98_066.5),
    ];
    for (base, scale) in bases {
        let Some(rest) = compact.strip_prefix(base) else {
            continue;
        };
        let reference = match rest {
            "" => None,
            "g" | "gauge" | "gage" | "rel" | "relative" => Some(Gauge),
            "a" | "abs" | "absolute" => Some(Absolute),
            _ => continue,
        };
        return Some(Unit::Pressure(scale, reference));
    }
    None
}

/// Whether a cell of a second header line is a unit, or empty.
pub(super) fn is_unit(cell: &str) -> bool {
    cell.trim().is_empty() || unit(cell).is_some()
}

/// What a column holds.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Meaning {
    /// Time.
    Time,
    /// Pressure in a vessel by index; `None` where the heading names none.
    Pressure(Option<usize>),
    /// Travel of the nose.
    Travel,
    /// A wire or switch that opens when the nose moves.
    BreakWire,
    /// The command to the valve.
    Trigger,
    /// Nothing a diagnosis uses.
    Ignored,
}

/// A heading, understood.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Heading {
    pub meaning: Meaning,
    pub unit: Option<Unit>,
    /// What the heading says besides the unit.
    pub reference: Option<Reference>,
}

/// What may be measured: the vessels of the design, with their usual names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Name in the design.
    pub vessel: String,
    /// What else it may be called.
    pub also: &'static [&'static str],
}

/// Words of a heading, in lower case: split at anything but letters and digits, and between
/// letters and capitals or digits ("pBay", "P1").
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut current = String::new();
    let mut previous = ' ';
    for c in text.chars() {
        let boundary = (previous.is_lowercase() && c.is_uppercase())
            || (previous.is_alphabetic() && c.is_numeric());
        if (!c.is_alphanumeric() || boundary) && !current.is_empty() {
            words.push(std::mem::take(&mut current));
        }
        if c.is_alphanumeric() {
            current.extend(c.to_lowercase());
        }
        previous = c;
    }
    if !current.is_empty() {
        words.push(current);
    }
    words
}

/// Splits "p_bay (kPa)" into its name and its unit.
fn split(heading: &str) -> (String, Option<Unit>) {
    // A unit in brackets, which may itself hold brackets: "p [bar(a)]".
    for (open, close) in [('[', ']'), ('(', ')'), ('{', '}')] {
        if let (Some(start), Some(end)) = (heading.find(open), heading.rfind(close))
            && start < end
            && let Some(inside) = heading.get(start + 1..end)
            && let Some(found) = unit(inside)
        {
            let name = format!(
                "{} {}",
                heading.get(..start).unwrap_or(""),
                heading.get(end + 1..).unwrap_or("")
            );
            return (name, Some(found));
        }
    }
    // A unit at the end: "Time/s", "p_bay, kPa", "Pressure psi", "p_bay_bar_abs".
    let cuts: Vec<usize> = heading
        .char_indices()
        .filter(|(_, c)| matches!(c, '/' | ',' | ' ' | '_' | '-' | ':' | '.' | '@'))
        .map(|(at, _)| at)
        .collect();
    for at in cuts {
        let end = heading.get(at + 1..).unwrap_or("");
        if let Some(found) = unit(end) {
            return (heading.get(..at).unwrap_or("").to_owned(), Some(found));
        }
    }
    match unit(heading) {
        // "ms" or "psi" alone; "m", "s", "g", "k" alone are too short to be trusted except s.
        Some(found) if heading.trim().len() > 1 || heading.trim() == "s" => {
            (String::new(), Some(found))
        }
        _ => (heading.to_owned(), None),
    }
}

const TIME: [&str; 10] = [
    "t",
    "time",
    "times",
    "timestamp",
    "elapsed",
    "zeit",
    "temps",
    "tiempo",
    "tempo",
    "clock",
];
const PRESSURE: [&str; 8] = [
    "p", "pressure", "press", "pres", "druck", "pression", "presion", "pt",
];
const TRAVEL: [&str; 7] = [
    "travel",
    "displacement",
    "position",
    "stroke",
    "distance",
    "lvdt",
    "weg",
];
const WIRE: [&str; 7] = [
    "wire",
    "breakwire",
    "switch",
    "separation",
    "sep",
    "continuity",
    "break",
];
const TRIGGER: [&str; 8] = [
    "trigger", "trig", "fire", "fired", "command", "cmd", "valve", "servo",
];

/// Understands a heading.
pub(super) fn understand(heading: &str, places: &[Place]) -> Heading {
    let (name, mut found) = split(heading);
    let words = words(&name);
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    let mut reference = None;
    if has(&["gauge", "gage", "rel", "relative"]) {
        reference = Some(Reference::Gauge);
    } else if has(&["abs", "absolute"]) {
        reference = Some(Reference::Absolute);
    }
    if let Some(Unit::Pressure(_, Some(stated))) = found {
        reference = Some(stated);
    }
    // Whole names first: a vessel may be called "bay-2".
    let lower = name.to_lowercase();
    let named = places
        .iter()
        .enumerate()
        .filter(|(_, place)| {
            let vessel = place.vessel.to_lowercase();
            self::words(&place.vessel)
                .iter()
                .all(|word| words.contains(word))
                || lower.contains(&vessel)
        })
        .max_by_key(|(_, place)| place.vessel.len())
        .map(|(index, _)| index);
    let vessel = named.or_else(|| {
        let mut matches = places
            .iter()
            .enumerate()
            .filter(|(_, place)| has(place.also))
            .map(|(index, _)| index);
        matches.next().filter(|_| matches.next().is_none())
    });
    let meaning = match found {
        Some(Unit::Time(_)) if !has(&PRESSURE) && !has(&TRAVEL) => Meaning::Time,
        Some(Unit::Pressure(..)) => Meaning::Pressure(vessel),
        Some(Unit::Length(_)) if has(&TRAVEL) || has(&["x", "nose"]) => Meaning::Travel,
        Some(Unit::Other) => Meaning::Ignored,
        _ if has(&TIME) => Meaning::Time,
        _ if has(&WIRE) => Meaning::BreakWire,
        _ if has(&TRAVEL) => Meaning::Travel,
        _ if has(&TRIGGER) && !has(&PRESSURE) => Meaning::Trigger,
        _ if has(&PRESSURE) || vessel.is_some() => Meaning::Pressure(vessel),
        _ => Meaning::Ignored,
    };
    // "pressure m" is no length.
    if let (Meaning::Pressure(_), Some(Unit::Length(_) | Unit::Time(_))) = (&meaning, found) {
        found = None;
    }
    Heading {
        meaning,
        unit: found,
        reference,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places() -> Vec<Place> {
        vec![
            Place {
                vessel: "cartridge".to_owned(),
                also: &["cyl", "bottle", "tank"],
            },
            Place {
                vessel: "bay".to_owned(),
                also: &["plenum", "chamber"],
            },
        ]
    }

    #[test]
    fn spellings_of_headings() {
        use Meaning::{Ignored, Pressure, Time, Travel, Trigger};
        let bar = |reference| Some(Unit::Pressure(1e5, reference));
        let kpa = Some(Unit::Pressure(1e3, None));
        let cases = [
            ("t [ms]", Time, Some(Unit::Time(1e-3))),
            ("Time/s", Time, Some(Unit::Time(1.0))),
            ("time_s", Time, Some(Unit::Time(1.0))),
            ("Elapsed", Time, None),
            ("\u{b5}s", Time, Some(Unit::Time(1e-6))),
            ("p_bay (kPa)", Pressure(Some(1)), kpa),
            ("pBay [kPa]", Pressure(Some(1)), kpa),
            (
                "Pressure psi",
                Pressure(None),
                Some(Unit::Pressure(PSI, None)),
            ),
            (
                "plenum, bar g",
                Pressure(Some(1)),
                bar(Some(Reference::Gauge)),
            ),
            (
                "P1 [bar(a)]",
                Pressure(None),
                bar(Some(Reference::Absolute)),
            ),
            (
                "bottle pressure barg",
                Pressure(Some(0)),
                bar(Some(Reference::Gauge)),
            ),
            (
                "cartridge.pressure_pa",
                Pressure(Some(0)),
                Some(Unit::Pressure(1.0, None)),
            ),
            ("nose.travel_m", Travel, Some(Unit::Length(1.0))),
            ("trigger", Trigger, None),
            ("bay.temperature_k", Ignored, Some(Unit::Other)),
            ("accel", Ignored, None),
        ];
        for (heading, meaning, unit) in cases {
            let found = understand(heading, &places());
            assert_eq!((found.meaning, found.unit), (meaning, unit), "{heading}");
        }
        assert_eq!(
            understand("bay pressure abs [kPa]", &places()).reference,
            Some(Reference::Absolute)
        );
    }
}
