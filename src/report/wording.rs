//! The sentences of a shot: verdict, explanations, warnings with remedies, cautions.

use crate::discharge::EventKind;
use crate::mechanics::motion::NoseEvent;
use crate::study::{Criterion, CriterionKind, HeldNose, Sense, ShotStudy, Warning};
use crate::units::{
    Dimension, UnitSystem, format, format_area, format_force, format_gauge_pressure, format_length,
    format_mass, format_percent, format_pressure, format_speed, format_temperature, format_time,
    significant,
};

/// What every report says about handling the thing.
pub const CAUTIONS: [&str; 5] = [
    "Cartridges are pressure vessels: keep them cool, never pierce one outside its holder.",
    "The nose cone is a projectile: nobody in front of it once gas can reach the bay.",
    "Dry ice and venting CO2 burn by cold: gloves and eye protection.",
    "CO2 displaces air and is harmful from a few percent: test outdoors or well ventilated.",
    "This is a calculation, not a permission: ground tests, local rules, range safety and licensed \
     practice decide.",
];

/// The answer in one line.
#[must_use]
pub fn verdict(study: &ShotStudy, units: UnitSystem) -> String {
    let Some(held) = &study.held else {
        let peak = study.discharge.outcome.peak_bay_pressure;
        let pressure = format_pressure(peak.value, units);
        return format!(
            "no nose: pressure peaks at {pressure} after {}{}",
            format_time(peak.time, units),
            limit(study, units)
        );
    };
    let factor = times(held.factor());
    let outcome = &study.discharge.outcome;
    let what = match (
        outcome.pins_break_time,
        outcome.clear_time,
        outcome.exit_speed,
    ) {
        _ if study.nose_held => format!("nose held: available force {factor} retention"),
        (_, Some(time), Some(speed)) => format!(
            "nose leaves after {} at {}, available force {factor} retention",
            format_time(time, units),
            format_speed(speed, units)
        ),
        (Some(_), _, _) => format!(
            "nose sticks after {} of {} travel, available force {factor} retention",
            format_length(outcome.furthest_travel, units),
            format_length(held.engagement, units)
        ),
        (None, _, _) => format!(
            "nose stays on: {} available against {} that hold it ({factor} retention)",
            format_force(held.peak_force.value, units),
            format_force(held.retention_force, units)
        ),
    };
    what + &limit(study, units)
}

fn limit(study: &ShotStudy, units: UnitSystem) -> String {
    if let Some(failed) = study.first_failed() {
        return format!("; fails {}", comparison(failed, units));
    }
    match study.closest() {
        Some(closest) => format!("; closest limit: {}", comparison(closest, units)),
        None => String::new(),
    }
}

/// "exit speed 5.20 m/s, at least 5.00 m/s".
#[must_use]
pub fn comparison(criterion: &Criterion, units: UnitSystem) -> String {
    format!(
        "{} {}, {}",
        criterion.label(),
        value(criterion, units),
        requirement(criterion, units)
    )
}

/// Value of a criterion.
#[must_use]
pub fn value(criterion: &Criterion, units: UnitSystem) -> String {
    match criterion.value {
        Some(value) => format(criterion.dimension, value, units),
        None if criterion.kind == CriterionKind::RetentionFactor => "not computed".to_owned(),
        None => "never".to_owned(),
    }
}

/// "at least 5.00 m/s".
#[must_use]
pub fn requirement(criterion: &Criterion, units: UnitSystem) -> String {
    let word = match criterion.sense {
        Sense::AtLeast => "at least",
        Sense::AtMost => "at most",
    };
    format!(
        "{word} {}",
        format(criterion.dimension, criterion.limit, units)
    )
}

/// Signed margin with its share of the limit: "+0.20 m/s (+4.0 %)".
#[must_use]
pub fn margin(criterion: &Criterion, units: UnitSystem) -> String {
    let (Some(margin), Some(share)) = (criterion.margin(), criterion.relative_margin()) else {
        return "-".to_owned();
    };
    if !margin.is_finite() {
        return "unlimited".to_owned();
    }
    let sign = if margin < 0.0 { "-" } else { "+" };
    let size = format(criterion.dimension.difference(), margin.abs(), units);
    format!("{sign}{size} ({sign}{})", format_percent(share.abs()))
}

/// "2.94 x".
#[must_use]
pub fn times(factor: f64) -> String {
    format!("{} x", significant(factor))
}

/// ", of it 100 N by the spring" of a force that drives the nose off; nothing without a spring.
#[must_use]
pub fn with_the_spring(held: &HeldNose, units: UnitSystem) -> String {
    match held.spring_force {
        push if push > 0.0 => format!(", of it {} by the seated spring", format_force(push, units)),
        _ => String::new(),
    }
}

/// " to the pressure: 252 N less the spring's 100 N" of the force that holds the nose; nothing without a spring.
#[must_use]
pub fn less_the_spring(held: &HeldNose, units: UnitSystem) -> String {
    match held.spring_force {
        push if push > 0.0 => format!(
            " against the pressure: {} less the {} of the seated spring",
            format_force(held.retention_force + push, units),
            format_force(push, units)
        ),
        _ => String::new(),
    }
}

/// Physics that surprises, in sentences.
#[must_use]
pub fn explanations(study: &ShotStudy, units: UnitSystem) -> Vec<String> {
    let mut said = Vec::new();
    left_behind(study, units, &mut said);
    if let Some(held) = &study.held {
        let pressure = format_pressure(held.peak_pressure.value, units);
        let force = format_force(held.peak_force.value, units);
        let time = format_time(held.peak_pressure.time, units);
        if held.still_rising {
            said.push(format!(
                "Leak balance: with the nose held the bay still rises at the end of the run, at \
                 {pressure} ({force})."
            ));
        } else if held.effective_leak_area > 0.0 {
            said.push(format!(
                "Leak balance: with the nose held, inflow equals leakage at {pressure} ({force}) \
                 after {time}."
            ));
        } else {
            said.push(format!(
                "With the nose held the bay peaks at {pressure} ({force}) after {time}; no leak or \
                 vent is given, so what takes it down again is heat."
            ));
        }
        if let Some(leak) = &study.tolerable_leak {
            let least = if leak.at_least { "more than " } else { "" };
            said.push(format!(
                "Largest tolerable leak: {least}{} on top of the leaks given, one sharp hole of {}, \
                 before the {}.",
                format_area(leak.area, units),
                format_length(leak.diameter, units),
                if held.pinned { "pins hold" } else { "nose stays" }
            ));
        }
    }
    if study.residues.iter().all(|residue| residue.initial <= 0.0) {
        // Without CO2 a perfect gas is all there is.
        return said;
    }
    let real = study.comparable_pressure();
    let held = if study.held.is_some() && !study.nose_held {
        " with the nose held"
    } else {
        ""
    };
    said.push(format!(
        "An ideal-gas estimate (all charge as warm gas in the whole volume, no leak) says {}; real \
         CO2 reaches {}{held}, {} of it.",
        format_pressure(study.perfect_gas_pressure, units),
        format_pressure(real, units),
        format_percent(real / study.perfect_gas_pressure)
    ));
    said
}

fn left_behind(study: &ShotStudy, units: UnitSystem, said: &mut Vec<String>) {
    let clear = study.discharge.outcome.clear_time.is_some();
    let when = if clear {
        "When the nose clears"
    } else {
        "At the end"
    };
    let charge: f64 = study.residues.iter().map(|r| r.initial).sum();
    if charge <= 0.0 {
        return;
    }
    let notable = |mass: f64| mass > 0.005 * charge;
    for residue in &study.residues {
        let phases = |solid: f64, liquid: f64| {
            let mut parts = Vec::new();
            if notable(solid) {
                parts.push(format!("{} dry ice", format_mass(solid, units)));
            }
            if notable(liquid) {
                parts.push(format!("{} liquid", format_mass(liquid, units)));
            }
            parts.join(" and ")
        };
        let at = phases(residue.solid, residue.liquid);
        if residue.initial > 0.1 * charge {
            let mut line = format!(
                "{when}, {} of {} is still in {}",
                format_mass(residue.co2, units),
                format_mass(residue.initial, units),
                residue.vessel
            );
            if !at.is_empty() {
                line += &format!(" ({at})");
            }
            line += &format!(" at {}", format_temperature(residue.temperature, units));
            if clear {
                line += &format!(
                    "; at the end of the run {}",
                    format_mass(residue.final_co2, units)
                );
                let end = phases(residue.final_solid, residue.final_liquid);
                if !end.is_empty() {
                    line += &format!(", of it {end}");
                }
            }
            said.push(line + ".");
        } else if !at.is_empty() {
            said.push(format!(
                "{when}, {} holds {at}, which makes no pressure.",
                residue.vessel
            ));
        }
    }
}

/// What happened: "valve commanded open"; of a nose without pins no pins are spoken of.
#[must_use]
pub fn event(kind: &EventKind, study: &ShotStudy) -> String {
    let name = event_name(kind, study);
    match kind.subject() {
        Some(subject) => format!("{subject} {name}"),
        None => name.to_owned(),
    }
}

/// The same without where: "commanded open".
#[must_use]
pub(super) fn event_name(kind: &EventKind, study: &ShotStudy) -> &'static str {
    if !pinned(study) && kind.is_nose(NoseEvent::PinsShear) {
        return "nose starts to move";
    }
    kind.name()
}

/// Whether pins hold the nose.
#[must_use]
pub(super) fn pinned(study: &ShotStudy) -> bool {
    study.held.is_none_or(|held| held.pinned)
}

/// A warning and what to do about it.
#[must_use]
pub fn warning(warning: &Warning, study: &ShotStudy, units: UnitSystem) -> (String, &'static str) {
    match warning {
        Warning::PinsHold { factor } if !pinned(study) => (
            format!(
                "The nose stays: the bay reaches {} retention.",
                times(*factor)
            ),
            "less friction or hold-down, more charge, a faster or larger valve, a tighter bay",
        ),
        Warning::Premature { time, command } if !pinned(study) => (
            format!(
                "The nose starts to move at {}, before the first command at {}.",
                format_time(*time, units),
                format_time(*command, units)
            ),
            "pins, a tighter valve seat, vents that let the climb breathe",
        ),
        Warning::PinsHold { factor } => (
            format!(
                "The pins hold: the bay reaches {} retention.",
                times(*factor)
            ),
            "fewer or weaker pins, more charge, a faster or larger valve, a tighter bay",
        ),
        Warning::CommandAfterEnd { command, horizon } => (
            format!(
                "No valve is commanded before {}, and the run ends at {}.",
                format_time(*command, units),
                format_time(*horizon, units)
            ),
            "raise `horizon`, or command the valve earlier (`opens_at`)",
        ),
        Warning::BurstsIfJammed { pressure, rating } => (
            format!(
                "A nose that jams would let the bay rise to {}, above its rating of {}.",
                format_pressure(*pressure, units),
                format_pressure(*rating, units)
            ),
            "a stronger bay, a relief hole or less charge; nobody beside or before the nose until it has vented",
        ),
        Warning::StuckOnCoupler { travel, engagement } => (
            format!(
                "The nose moves {} and stays on the coupler of {}.",
                format_length(*travel, units),
                format_length(*engagement, units)
            ),
            "a shorter or freer coupler, more charge, a larger reservoir",
        ),
        Warning::WeakForce { factor } => (
            format!("Only {} retention is available.", times(*factor)),
            "aim at 2 x or more; pins, friction and cartridges scatter (try `odds`)",
        ),
        Warning::ThinMargin { criterion, share } => (
            format!("The margin on {criterion} is {}.", format_percent(*share)),
            "small changes of the design can fail it (try `odds` and `margins`)",
        ),
        Warning::Premature { time, command } => (
            format!(
                "The pins shear at {}, before the first command at {}.",
                format_time(*time, units),
                format_time(*command, units)
            ),
            "stronger pins, a tighter valve seat, vents that let the climb breathe",
        ),
        Warning::Recontact { time } => (
            format!(
                "The nose falls back onto the coupler at {}.",
                format_time(*time, units)
            ),
            "more exit speed, a longer or softer tether",
        ),
        Warning::TetherUnrated { load } => (
            format!(
                "The tether takes {} and has no rating.",
                format_force(*load, units)
            ),
            "give `nose.tether.rating` so that the load is judged",
        ),
        Warning::SnowInPassage { vessel, mass } => (
            format!(
                "Up to {} of dry ice lies in {vessel}.",
                format_mass(*mass, units)
            ),
            "it can block a narrow valve: widen the passage, keep the cartridge neck up",
        ),
        Warning::ColdSeal {
            vessel,
            temperature,
        } => (
            format!(
                "The gas in {vessel} falls to {}.",
                format_temperature(*temperature, units)
            ),
            "use seals and electronics that take it, or keep the jet off them",
        ),
        Warning::ValveStillOpening { path, share } => (
            format!(
                "The nose leaves with {path} only {} open.",
                format_percent(*share)
            ),
            "the valve's speed decides: measure its slew at the lowest voltage and temperature",
        ),
        Warning::HorizonTooShort { horizon } => (
            format!(
                "With the nose held the pressure still rises at {}, the end of the run.",
                format_time(*horizon, units)
            ),
            "raise `horizon` to see the true peak",
        ),
        Warning::LiquidFull {
            vessel,
            temperature,
        } => (
            format!(
                "At {} {vessel} is full of liquid: its pressure climbs by bars per kelvin.",
                format_temperature(*temperature, units)
            ),
            "keep it out of the sun; check the pressure against the cartridge's rating",
        ),
        Warning::Unrated { vessels } => (
            format!("No pressure rating is given for {}.", vessels.join(", ")),
            "give `rating` so that the pressure is judged",
        ),
    }
}

/// Absolute and gauge pressure: "4.37 bara (3.36 barg)".
#[must_use]
pub fn both_pressures(pressure: f64, ambient: f64, units: UnitSystem) -> String {
    format!(
        "{} ({})",
        format_pressure(pressure, units),
        format_gauge_pressure(pressure - ambient, units)
    )
}

/// A density for people.
#[must_use]
pub fn density(density: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Metric => format!("{} kg/L", significant(density / 1000.0)),
        UnitSystem::Us => format(Dimension::Density, density, units),
    }
}
