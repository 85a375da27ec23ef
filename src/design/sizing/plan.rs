//! The `size` section understood: what is open, what is wanted, over which temperatures.

use crate::design::document::Document;
use crate::design::error::{DesignError, Problem};
use crate::design::reader::Catalogue;
use crate::design::schema::{ClimbSection, DesignSection, FreeSection, SizeSection, Text};
use crate::network::criteria::Criteria;
use crate::network::spec::{Command, System};
use crate::study::sizing::{Aim, Case, Climb, Space};
use crate::units::{self, Dimension, Limits, UnitError};

use super::cartridges;
use super::options::{self, Choice};
use super::value::OpenValue;

/// Temperatures a range may span [K]: liquid CO2 on the cold side, what cartridges bear on the hot.
const RANGE: Limits = Limits::between(217.0, 343.15);
/// Chances that trials can show.
const CHANCES: Limits = Limits::between(0.01, 0.9999);
/// Most combinations of choices.
const MOST_CELLS: usize = 20_000;
const TIMES: Limits = Limits {
    least: 0.0,
    least_allowed: false,
    most: 3600.0,
};

/// What a design leaves open and what it asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Choices among parts and counts.
    pub choices: Vec<Choice>,
    /// Values within bounds.
    pub values: Vec<OpenValue>,
    /// One aim, or two for a trade-off.
    pub aims: Vec<Aim>,
    /// Temperatures to work at, if a range is given.
    pub range: Option<TemperatureRange>,
    /// Least chance of success at the worst of them.
    pub at_least: Option<f64>,
    /// The climb to survive.
    pub climb: Option<Climb>,
    /// The same as numbers of options and grid points.
    pub space: Space,
}

/// A range of temperatures [K].
#[derive(Debug, Clone, PartialEq)]
pub struct TemperatureRange {
    /// The value of the design that takes them.
    pub path: String,
    /// Coldest.
    pub cold: f64,
    /// As the design is written, or the middle where that lies outside.
    pub nominal: f64,
    /// Hottest.
    pub hot: f64,
}

impl Plan {
    /// Cases in the order in which they are looked at.
    #[must_use]
    pub fn cases(&self) -> Vec<(Case, Option<f64>)> {
        match &self.range {
            None => vec![(Case::Nominal, None)],
            Some(range) => vec![
                (Case::Nominal, Some(range.nominal)),
                (Case::Cold, Some(range.cold)),
                (Case::Hot, Some(range.hot)),
            ],
        }
    }

    /// Understands the section; `central` is the system as written.
    pub(in crate::design) fn read(
        document: &Document,
        design: &DesignSection,
        size: &SizeSection,
        catalogue: &Catalogue,
        central: &(System, Criteria),
    ) -> Result<Self, DesignError> {
        let reading = Reading {
            document,
            design,
            size,
            catalogue,
        };
        let (choices, values) = reading.free()?;
        let space = Space {
            options: choices.iter().map(|choice| choice.options.len()).collect(),
            points: values.iter().map(|value| value.points).collect(),
        };
        if space.cell_count() > MOST_CELLS {
            return Err(reading.conflict(
                "size.free",
                format!(
                    "the choices make {} combinations, more than {MOST_CELLS}",
                    space.cell_count()
                ),
                "leave fewer choices open, or shorten the lists",
            ));
        }
        let at_least = match &size.at_least {
            Some(text) => Some(reading.chance(text)?),
            None => None,
        };
        let range = reading.range()?;
        let climb = match &size.climb {
            Some(section) => Some(reading.climb(section)?),
            None => None,
        };
        reading.possible(central)?;
        Ok(Plan {
            choices,
            values,
            aims: reading.aims()?,
            range,
            at_least,
            climb,
            space,
        })
    }
}

struct Reading<'d> {
    document: &'d Document,
    design: &'d DesignSection,
    size: &'d SizeSection,
    catalogue: &'d Catalogue,
}

impl Reading<'_> {
    fn conflict(&self, at: &str, message: String, help: &str) -> DesignError {
        let help = help.to_owned();
        self.document
            .error_at(at, Problem::Conflict { message, help })
    }

    /// A certain quantity within limits.
    fn quantity(
        &self,
        at: &str,
        text: &Text,
        dimension: Dimension,
        limits: Limits,
    ) -> Result<f64, DesignError> {
        let error = |error: UnitError| self.document.error_at(at, error.into());
        let value = units::parse(&text.0, dimension).map_err(error)?.value;
        if limits.contain(value) {
            return Ok(value);
        }
        Err(error(UnitError::OutOfRange {
            text: text.0.clone(),
            expected: dimension,
            limits,
        }))
    }

    fn free(&self) -> Result<(Vec<Choice>, Vec<OpenValue>), DesignError> {
        if self.size.free.is_empty() {
            return Err(self.conflict(
                "size.free",
                "nothing is free, so there is nothing to choose".to_owned(),
                "write what may be chosen: `free: [cartridge(vessel: \"cartridge\")]`, \
                 `value(of: \"paths.valve.diameter\", least: \"2 mm\", most: \"5 mm\")`",
            ));
        }
        let (mut choices, mut values): (Vec<Choice>, Vec<OpenValue>) = Default::default();
        let mut taken: Vec<String> = Vec::new();
        for (index, free) in self.size.free.iter().enumerate() {
            let at = format!("size.free.{index}");
            let (document, design) = (self.document, self.design);
            let subject = match free {
                FreeSection::Cartridge {
                    vessel,
                    from,
                    number,
                } => {
                    let (from, number) = (from.as_deref(), number.as_deref());
                    let size = self.size;
                    choices.extend(cartridges::cartridge(
                        document, design, size, &at, vessel, from, number,
                    )?);
                    format!("vessels.{}", vessel.0.trim())
                }
                FreeSection::Servo { valve, from } => {
                    let from = from.as_deref();
                    choices.push(options::servo(document, design, &at, valve, from)?);
                    format!("paths.{}.opening", valve.0.trim())
                }
                FreeSection::Pins {
                    entry,
                    kinds,
                    count,
                } => {
                    let (kinds, count) = (kinds.as_deref(), count.as_deref());
                    let entry = entry.as_ref();
                    choices.extend(options::pins(document, design, &at, entry, kinds, count)?);
                    format!(
                        "nose.pins.{}",
                        entry.map_or("0", |Text(entry)| entry.trim())
                    )
                }
                FreeSection::Value {
                    of,
                    least,
                    most,
                    step,
                } => {
                    let texts = [of, least, most];
                    let catalogue = self.catalogue;
                    let step = step.as_ref();
                    let value = OpenValue::read(document, design, catalogue, &at, texts, step)?;
                    let path = value.path.clone();
                    values.push(value);
                    path
                }
            };
            let inside = |outer: &str, inner: &str| {
                inner == outer
                    || inner
                        .strip_prefix(outer)
                        .is_some_and(|r| r.starts_with('.'))
            };
            if let Some(other) = taken
                .iter()
                .find(|other| inside(other, &subject) || inside(&subject, other))
            {
                return Err(self.conflict(
                    &at,
                    format!("`{subject}` is left open twice, here and with `{other}`"),
                    "leave each thing open once",
                ));
            }
            taken.push(subject);
        }
        Ok((choices, values))
    }

    fn aims(&self) -> Result<Vec<Aim>, DesignError> {
        let Some(Text(text)) = &self.size.aim else {
            return Ok(vec![Aim::LeastMass]);
        };
        let mut aims = Vec::new();
        for word in text.split(',').map(str::trim) {
            let aim = Aim::ALL.iter().find(|(name, _)| *name == word);
            let Some((_, aim)) = aim else {
                let problem = Problem::UnknownWord {
                    found: word.to_owned(),
                    known: Aim::ALL
                        .iter()
                        .map(|(name, _)| (*name).to_owned())
                        .collect(),
                };
                return Err(self.document.error_at("size.aim", problem));
            };
            if aims.contains(aim) || aims.len() == 2 {
                return Err(self.conflict(
                    "size.aim",
                    format!("`{text}` is not one aim, or two different ones"),
                    "write `aim: \"least mass\"`, or `aim: \"least mass, most margin\"`",
                ));
            }
            aims.push(*aim);
        }
        Ok(aims)
    }

    fn chance(&self, text: &Text) -> Result<f64, DesignError> {
        let at = "size.at_least";
        let value = self.quantity(at, text, Dimension::Fraction, Limits::ANY)?;
        if CHANCES.contain(value) {
            return Ok(value);
        }
        Err(self.conflict(
            at,
            format!(
                "no number of trials can show a chance of at least {}",
                text.0.trim()
            ),
            "ask for 1 % to 99.99 %",
        ))
    }

    fn range(&self) -> Result<Option<TemperatureRange>, DesignError> {
        let (cold, hot) = match (&self.size.coldest, &self.size.hottest) {
            (None, None) => return Ok(None),
            (Some(cold), Some(hot)) => (cold, hot),
            (one, _) => {
                let missing = if one.is_some() { "hottest" } else { "coldest" };
                let problem = Problem::Missing {
                    name: missing.to_owned(),
                    expected: "the other end of the range, such as \"28 degC\",".to_owned(),
                };
                return Err(self.document.error_at(&format!("size.{missing}"), problem));
            }
        };
        let cold = self.quantity("size.coldest", cold, Dimension::Temperature, RANGE)?;
        let hot = self.quantity("size.hottest", hot, Dimension::Temperature, RANGE)?;
        if cold >= hot {
            let problem = Problem::Order {
                lower: "coldest".to_owned(),
                upper: "hottest".to_owned(),
            };
            return Err(self.document.error_at("size.coldest", problem));
        }
        let path = self.temperature_path()?;
        let written = self.catalogue.central(&path).unwrap_or(cold);
        let nominal = if (cold..=hot).contains(&written) {
            written
        } else {
            0.5 * (cold + hot)
        };
        Ok(Some(TemperatureRange {
            path,
            cold,
            nominal,
            hot,
        }))
    }

    /// The value that takes the temperatures: the one named, the only shared temperature, or
    /// that of the site.
    fn temperature_path(&self) -> Result<String, DesignError> {
        let is_temperature = |path: &str| {
            let slot = self.catalogue.slot(path);
            slot.is_some_and(|slot| slot.dimension == Dimension::Temperature && !slot.shared)
        };
        let mut known = self.catalogue.paths();
        known.retain(|path| is_temperature(path));
        if let Some(Text(path)) = &self.size.temperature {
            let path = path.trim();
            if is_temperature(path) {
                return Ok(path.to_owned());
            }
            let problem = Problem::NoSuchField {
                path: path.to_owned(),
                missing: path.to_owned(),
                known,
            };
            return Err(self.document.error_at("size.temperature", problem));
        }
        let shared: Vec<&String> = known.iter().filter(|p| p.starts_with("shared.")).collect();
        match (
            shared.as_slice(),
            known.iter().find(|p| *p == "site.temperature"),
        ) {
            ([only], _) => Ok((*only).clone()),
            ([], Some(site)) => Ok(site.clone()),
            _ => Err(self.document.error_at(
                "size.temperature",
                Problem::Missing {
                    name: "temperature".to_owned(),
                    expected: "the value that takes the temperatures of the range, such as \
                               `temperature: \"shared.soak\"`,"
                        .to_owned(),
                },
            )),
        }
    }

    fn climb(&self, section: &ClimbSection) -> Result<Climb, DesignError> {
        let altitude = Limits::between(-400.0, 30_000.0);
        let pad = self.quantity("size.climb.pad", &section.pad, Dimension::Length, altitude)?;
        let time = self.quantity("size.climb.time", &section.time, Dimension::Time, TIMES)?;
        let Some(top) = self.catalogue.central("site.altitude") else {
            return Err(self.conflict(
                "size.climb",
                "a climb ends at the altitude of the separation, which is not given".to_owned(),
                "write `site: (mode: \"flight\", altitude: ...)`",
            ));
        };
        if pad >= top {
            let problem = Problem::Order {
                lower: "pad".to_owned(),
                upper: "the altitude of the separation".to_owned(),
            };
            return Err(self.document.error_at("size.climb.pad", problem));
        }
        let pull = match &section.pull {
            Some(text) => {
                let limits = Limits::NOT_NEGATIVE;
                self.quantity("size.climb.pull", text, Dimension::Force, limits)?
            }
            None => 0.0,
        };
        let factor = match &section.factor {
            Some(text) => {
                let limits = Limits::POSITIVE;
                self.quantity("size.climb.factor", text, Dimension::Number, limits)?
            }
            None => 1.5,
        };
        Ok(Climb {
            pad,
            top,
            time,
            pull,
            factor,
        })
    }

    /// Requirements that nothing could meet.
    fn possible(&self, (system, criteria): &(System, Criteria)) -> Result<(), DesignError> {
        let outside = system.ambient.at(0.0).0;
        for vessel in &system.vessels {
            if vessel
                .pressure_rating
                .is_some_and(|rating| rating <= outside)
            {
                return Err(self.conflict(
                    &format!("vessels.{}.rating", vessel.name),
                    "the rating is below the pressure of the air, so nothing can meet it"
                        .to_owned(),
                    "a rating in barg counts from the air, one in bara from vacuum",
                ));
            }
        }
        if system.nose.is_none() {
            return Err(self.conflict(
                "size",
                "without a nose there is nothing a size must achieve".to_owned(),
                "write the `nose` section",
            ));
        }
        let servo_is_free = self
            .size
            .free
            .iter()
            .any(|free| matches!(free, FreeSection::Servo { .. }));
        let first = crate::study::criterion::first_command(system);
        let dead_time = system
            .paths
            .iter()
            .filter_map(|path| match path.command {
                Command::Always => None,
                Command::At(time) | Command::Backup(time) => {
                    let start = path.opening.kinks().first().copied().unwrap_or(0.0);
                    Some(time - first + start)
                }
            })
            .reduce(f64::min);
        if let (Some(limit), Some(dead_time), false) =
            (criteria.clear_within, dead_time, servo_is_free)
            && limit <= dead_time
        {
            return Err(self.conflict(
                "criteria.clear_within",
                format!(
                    "the first valve does not start to open before {}",
                    units::format_time(dead_time, units::UnitSystem::Metric)
                ),
                "allow more time, or let the valve start sooner",
            ));
        }
        // Gas cannot drive a nose faster than its own speed of sound, near 260 m/s for CO2.
        if criteria
            .exit_speed_least
            .is_some_and(|speed| speed >= 260.0)
        {
            return Err(self.conflict(
                "criteria.exit_speed_least",
                "no gas drives a nose faster than its own speed of sound, 260 m/s in CO2"
                    .to_owned(),
                "ask for less",
            ));
        }
        Ok(())
    }
}
