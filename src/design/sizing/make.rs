//! Candidates as designs: the text with every choice made, read like any other.

use crate::design::Design;
use crate::design::edit;
use crate::design::error::{DesignError, Problem};
use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::statistics::{Distribution, stream};
use crate::study::Inputs;
use crate::study::sizing::{Article, Candidate, Space, Workshop};
use crate::units::UnitSystem;

use super::bill::{Bill, bill};
use super::options::Edit;
use super::plan::Plan;

/// Makes the candidates of one design.
#[derive(Debug, Clone)]
pub struct SizingWorkshop {
    name: String,
    /// The design without its `size` section.
    base: String,
    /// The same with its temperature open to be set.
    open: String,
    /// The temperature as the design draws it.
    soak: Option<Distribution>,
    plan: Plan,
}

impl SizingWorkshop {
    /// A workshop for a design that says what is free.
    ///
    /// # Errors
    /// [`Problem::Missing`] where the design has no `size` section.
    pub fn new(design: &Design) -> Result<Self, DesignError> {
        let Some(plan) = &design.plan else {
            let problem = Problem::Missing {
                name: "size".to_owned(),
                expected: "a section that says what is free, such as `size: (free: \
                           [cartridge(vessel: \"cartridge\")])`,"
                    .to_owned(),
            };
            return Err(design.document.error_at("size", problem));
        };
        let name = design.file().to_owned();
        let base = edit::remove(&name, design.text(), "size")?;
        let open = match &plan.range {
            // A choice of one: an input like any other, so that it can be set for each case.
            Some(range) => {
                let nominal = range.nominal - 273.15;
                let text = format!("choice {nominal:.6} degC: 100 %");
                edit::set(&name, &base, &range.path, &text)?
            }
            None => base.clone(),
        };
        let drawn = |path: &str| design.inputs().iter().find(|input| input.path == path);
        let soak = plan.range.as_ref().and_then(|range| drawn(&range.path));
        Ok(SizingWorkshop {
            soak: soak.map(|input| input.distribution.clone()),
            name,
            base,
            open,
            plan: plan.clone(),
        })
    }

    /// What is open and what is wanted.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// A candidate as a complete design, its `size` section taken out.
    ///
    /// # Errors
    /// A [`DesignError`] when the choices make no valid design.
    pub fn written(&self, candidate: &Candidate) -> Result<String, DesignError> {
        self.edited(&self.base, candidate)
    }

    /// What a candidate is made of.
    ///
    /// # Errors
    /// As [`written`](Self::written).
    pub fn bill(&self, candidate: &Candidate) -> Result<Bill, DesignError> {
        let text = self.written(candidate)?;
        Ok(bill(&Design::parse(&self.name, &text)?))
    }

    fn edited(&self, text: &str, candidate: &Candidate) -> Result<String, DesignError> {
        let mut text = text.to_owned();
        let values = self.plan.values.iter().zip(&candidate.points);
        let chosen = self.plan.choices.iter().zip(&candidate.choices);
        let edits = chosen
            .filter_map(|(choice, option)| choice.options.get(*option))
            .flat_map(|option| option.edits.clone());
        // More cartridges are copies of the finished first, so they come last.
        let (copies, others): (Vec<Edit>, Vec<Edit>) =
            edits.partition(|edit| matches!(edit, Edit::Multiply { .. }));
        let values = values.flat_map(|(value, point)| value.edits(*point));
        for edit in others.into_iter().chain(values).chain(copies) {
            text = edit.apply(&self.name, &text)?;
        }
        Ok(text)
    }

    /// What is chosen, in words: ("cartridge", "co2-16g"), ("bay volume", "1.05 L").
    #[must_use]
    pub fn chosen(&self, candidate: &Candidate, units: UnitSystem) -> Vec<(String, String)> {
        let choices = self.plan.choices.iter().zip(&candidate.choices);
        let values = self.plan.values.iter().zip(&candidate.points);
        choices
            .filter_map(|(choice, option)| {
                let option = choice.options.get(*option)?;
                Some((choice.name.clone(), option.label.clone()))
            })
            .chain(values.map(|(value, point)| (value.name.clone(), value.shown(*point, units))))
            .collect()
    }
}

impl Workshop for SizingWorkshop {
    fn space(&self) -> &Space {
        &self.plan.space
    }

    fn make(&self, candidate: &Candidate) -> Result<Box<dyn Article>, String> {
        let words = |error: DesignError| error.to_string();
        let text = self.edited(&self.open, candidate).map_err(words)?;
        let design = Design::parse(&self.name, &text).map_err(words)?;
        let inputs = design.draws().map_err(|error| error.to_string())?;
        let path = self.plan.range.as_ref().map(|range| range.path.as_str());
        let temperature = path.and_then(|path| inputs.names().iter().position(|n| n == path));
        let keys = inputs.names().iter().map(|name| key(name)).collect();
        let bill = bill(&design);
        Ok(Box::new(Made {
            mass: bill.mass(),
            volume: bill.volume(),
            design,
            inputs,
            keys,
            temperature,
            soak: self.soak.clone(),
        }))
    }

    fn charge(&self, choices: &[usize]) -> Option<f64> {
        let chosen = || {
            let pairs = self.plan.choices.iter().zip(choices);
            pairs.filter_map(|(choice, option)| choice.options.get(*option))
        };
        let charges: Vec<f64> = chosen().filter_map(|option| option.charge).collect();
        let number: usize = chosen().filter_map(|option| option.number).product();
        let total: f64 = charges.iter().sum();
        (!charges.is_empty()).then_some(total * number as f64)
    }
}

/// A number for the name of an uncertain value, so that it is the same draw in every candidate
/// (FNV-1a, 64 bit).
fn key(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

struct Made {
    design: Design,
    inputs: Inputs,
    keys: Vec<u64>,
    temperature: Option<usize>,
    soak: Option<Distribution>,
    mass: f64,
    volume: f64,
}

impl Made {
    fn system(
        &self,
        mut values: Vec<f64>,
        temperature: Option<f64>,
    ) -> Result<(System, Criteria), String> {
        if let (Some(kelvin), Some(place)) = (temperature, self.temperature)
            && let Some(value) = values.get_mut(place)
        {
            *value = kelvin;
        }
        self.design
            .system(&values)
            .map_err(|error| error.to_string())
    }
}

impl Article for Made {
    fn central(&self, temperature: Option<f64>) -> Result<(System, Criteria), String> {
        self.system(self.inputs.central(), temperature)
    }

    fn trial(
        &self,
        temperature: Option<f64>,
        seed: u64,
        index: u64,
    ) -> Result<(System, Criteria), String> {
        let mut values: Vec<f64> = self
            .keys
            .iter()
            .map(|key| stream::open_unit(stream::hash(seed, &[index, *key])))
            .collect();
        // What goes with the temperature is drawn as it goes with this one: its rank among the
        // temperatures of the design is what the correlation sees. Exact where no partner of the
        // temperature is read before it.
        if let (Some(kelvin), Some(soak), Some(place)) = (temperature, &self.soak, self.temperature)
            && let Some(uniform) = values.get_mut(place)
        {
            let rank = soak.probability_outside(kelvin, f64::INFINITY);
            *uniform = rank.clamp(1e-9, 1.0 - 1e-9);
        }
        self.inputs.apply(&mut values);
        self.system(values, temperature)
    }

    fn mass(&self) -> f64 {
        self.mass
    }

    fn volume(&self) -> f64 {
        self.volume
    }
}
