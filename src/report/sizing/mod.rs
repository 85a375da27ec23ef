//! What `size` found: text, JSON, CSV and the picture of the trade-off.

mod csv;
mod holding;
mod json;
mod picture;
mod text;

use crate::design::sizing::{Plan, SizingWorkshop};
use crate::study::sizing::{Aim, Answer, Assessment, Case, Check, Requirement};
use crate::units::{
    UnitSystem, format, format_mass, format_percent, format_temperature, format_volume,
};

pub use self::csv::table;
pub use self::holding::{csv as holding_csv, json as holding_json, text as holding_text};
pub use self::json::document;
pub use self::picture::draw;
pub use self::text::{answer as text, progress};

/// A search with its answer.
#[derive(Debug, Clone, Copy)]
pub struct Sized<'a> {
    /// Name of the design.
    pub name: &'a str,
    /// What was open.
    pub workshop: &'a SizingWorkshop,
    /// What was found.
    pub answer: &'a Answer,
}

impl Sized<'_> {
    fn plan(&self) -> &Plan {
        self.workshop.plan()
    }

    /// "co2-16g, bay volume 1.05 L".
    fn in_words(&self, found: &Assessment, units: UnitSystem) -> String {
        let words: Vec<String> = self
            .workshop
            .chosen(&found.candidate, units)
            .into_iter()
            .map(|(name, option)| match name.strip_prefix("number of ") {
                // "2 pins" reads better than "number of pins 2".
                Some(things) => match (option.as_str(), things.strip_suffix('s')) {
                    ("1", Some(thing)) => format!("1 {thing}"),
                    _ => format!("{option} {things}"),
                },
                None if name == "cartridge" || name == "pins" => option,
                None if name.starts_with("servo of ") => option,
                None => format!("{name} {option}"),
            })
            .collect();
        words.join(", ")
    }

    /// "cold (-8.0 degC)".
    fn case(&self, case: Case, units: UnitSystem) -> String {
        match temperature(self.plan(), case) {
            Some(kelvin) => format!("{} ({})", case.name(), format_temperature(kelvin, units)),
            None => case.name().to_owned(),
        }
    }

    /// "exit speed 5.20 m/s, at least 5.00 m/s, cold (-8.0 degC)".
    fn check(&self, check: &Check, units: UnitSystem) -> String {
        let value = match check.value {
            Some(value) => format(check.dimension, value, units),
            None => "never".to_owned(),
        };
        let bound = match (check.bound, check.sense) {
            (true, crate::study::Sense::AtLeast) if check.requirement != Requirement::Possible => {
                "no more than "
            }
            _ => "",
        };
        let sense = match check.sense {
            crate::study::Sense::AtLeast => "at least",
            crate::study::Sense::AtMost => "at most",
        };
        format!(
            "{} {bound}{value}, {sense} {}, {}",
            check.requirement.label(),
            format(check.dimension, check.limit, units),
            self.case(check.case, units)
        )
    }
}

/// Temperature of a case [K], where the design gives a range.
fn temperature(plan: &Plan, case: Case) -> Option<f64> {
    let range = plan.range.as_ref()?;
    Some(match case {
        Case::Nominal => range.nominal,
        Case::Cold => range.cold,
        Case::Hot => range.hot,
    })
}

/// "+12.3 %".
fn signed(share: f64) -> String {
    if !share.is_finite() {
        return "unlimited".to_owned();
    }
    let sign = if share < 0.0 { "-" } else { "+" };
    format!("{sign}{}", format_percent(share.abs()))
}

/// How good in the sense of an aim, with its unit.
fn objective(aim: Aim, found: &Assessment, units: UnitSystem) -> String {
    match aim {
        Aim::LeastMass => format_mass(found.mass, units),
        Aim::LeastVolume => format_volume(found.volume, units),
        Aim::MostMargin => format!("margin {}", signed(found.margin())),
        Aim::MostChance => found.worst_chance().map_or_else(
            || "chance not known".to_owned(),
            |chance| format!("chance {}", format_percent(chance.share())),
        ),
    }
}
