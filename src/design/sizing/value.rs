//! A value left open: bounds, steps, and what else follows from it.

use std::f64::consts::PI;

use crate::design::document::Document;
use crate::design::edit;
use crate::design::error::{DesignError, Problem};
use crate::design::reader::Catalogue;
use crate::design::schema::{DesignSection, Text};
use crate::design::words;
use crate::units::{self, Dimension, PressureReference, UnitSystem};

use super::options::Edit;
use super::write;

/// Steps between the bounds where none is given.
const DEFAULT_STEPS: f64 = 60.0;
/// Most grid points of one value.
const MOST_POINTS: f64 = 100_000.0;

/// A value left open.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenValue {
    /// Where it is written.
    pub path: String,
    /// Its name in sentences: "bay volume".
    pub name: String,
    /// What it measures.
    pub dimension: Dimension,
    /// Least value [SI].
    pub least: f64,
    /// Width between grid points [SI].
    pub step: f64,
    /// Number of grid points.
    pub points: u32,
    /// Its least value as written, for the unit.
    like: String,
    /// As written, with its central value [SI], if it is uncertain.
    uncertain: Option<(String, f64)>,
    /// The shell that grows with a volume.
    shell: Option<Shell>,
}

/// A cylindrical shell of fixed bore around a volume.
#[derive(Debug, Clone, PartialEq)]
struct Shell {
    /// Volume as written [m3].
    volume: f64,
    /// Inner area as written [m2].
    area: f64,
    /// Bore [m].
    bore: f64,
    /// Fields in proportion to the area: path, dimension, text.
    fields: Vec<(String, Dimension, String)>,
}

impl OpenValue {
    /// Value at a grid point [SI].
    #[must_use]
    pub fn at(&self, point: u32) -> f64 {
        self.least + self.step * f64::from(point)
    }

    /// Value at a grid point with its unit.
    #[must_use]
    pub fn shown(&self, point: u32, units: UnitSystem) -> String {
        units::format(self.dimension, self.at(point), units)
    }

    /// The changes to the design that give it a value.
    pub(super) fn edits(&self, point: u32) -> Vec<Edit> {
        let value = self.at(point);
        let text = match &self.uncertain {
            Some((written, central)) => write::scaled(written, self.dimension, value / central),
            None => None,
        };
        let text = text.unwrap_or_else(|| words::quantity(&self.like, self.dimension, value));
        let mut edits = vec![Edit::Set(self.path.clone(), text)];
        if let Some(shell) = &self.shell {
            // A longer tube of the same bore: dA = pi D dL = 4 dV/D.
            let area = shell.area + 4.0 * (value - shell.volume) / shell.bore;
            let ratio = (area / shell.area).max(0.05);
            for (path, dimension, text) in &shell.fields {
                if let Some(text) = write::scaled(text, *dimension, ratio) {
                    edits.push(Edit::Set(path.clone(), text));
                }
            }
        }
        edits
    }

    /// Reads one value left open.
    pub(super) fn read(
        document: &Document,
        design: &DesignSection,
        catalogue: &Catalogue,
        at: &str,
        [of, least, most]: [&Text; 3],
        step: Option<&Text>,
    ) -> Result<Self, DesignError> {
        let path = of.0.trim().to_owned();
        let refuse = |field: &str, message: String, help: &str| {
            let help = help.to_owned();
            document.error_at(
                &format!("{at}.{field}"),
                Problem::Conflict { message, help },
            )
        };
        let slot = catalogue
            .slot(&path)
            .or_else(|| catalogue.slot(&format!("{path}#1")));
        let Some(slot) = slot else {
            let problem = Problem::NoSuchField {
                path: path.clone(),
                missing: path.clone(),
                known: sizeable(catalogue),
            };
            return Err(document.error_at(&format!("{at}.of"), problem));
        };
        let dimension = slot.dimension;
        if slot.shared {
            return Err(refuse(
                "of",
                format!("`{path}` is a shared draw, which other values use as well"),
                "write a value of its own there, or leave the shared draw open",
            ));
        }
        if slot.gauge || dimension == Dimension::Temperature || !dimension.has_natural_zero() {
            return Err(refuse(
                "of",
                format!(
                    "`{path}` is not a size: {} cannot be left open",
                    dimension.describe()
                ),
                "lengths, areas, volumes, masses, forces, times and the like can",
            ));
        }
        let read = |field: &str, text: &Text| {
            let place = format!("{at}.{field}");
            let quantity = units::parse(&text.0, dimension)
                .map_err(|error| document.error_at(&place, error.into()))?;
            if quantity.reference == PressureReference::Gauge {
                return Err(refuse(
                    field,
                    format!("`{}` is a gauge pressure", text.0),
                    "write it as absolute",
                ));
            }
            if quantity.value < 0.0 {
                return Err(refuse(
                    field,
                    format!("`{}` is negative", text.0),
                    "a size is zero or more",
                ));
            }
            Ok(quantity.value)
        };
        let low = read("least", least)?;
        let high = read("most", most)?;
        if low >= high {
            let problem = Problem::Order {
                lower: "least".to_owned(),
                upper: "most".to_owned(),
            };
            return Err(document.error_at(&format!("{at}.least"), problem));
        }
        let step = match step {
            Some(text) => read("step", text)?,
            None => nice_step((high - low) / DEFAULT_STEPS, dimension, high),
        };
        let steps = (high - low) / step;
        if !(1.0..MOST_POINTS).contains(&(steps + 1e-9)) {
            return Err(refuse(
                "step",
                match step {
                    0.0 => "a step of nothing never gets from bound to bound".to_owned(),
                    _ => format!(
                        "the step makes {} steps between the bounds",
                        units::number(steps.round())
                    ),
                },
                "choose one that makes 1 to 100000 steps, or leave it out",
            ));
        }
        let written = edit::get(&document.text, &path);
        let central = catalogue
            .central(&path)
            .or_else(|| catalogue.central(&format!("{path}#1")))
            .unwrap_or(0.0);
        let uncertain = written
            .filter(|text| units::parse(text, dimension).is_err() && central > 0.0)
            .map(|text| (text, central));
        Ok(OpenValue {
            name: words(&path),
            dimension,
            least: low,
            like: least.0.clone(),
            step,
            points: (steps + 1e-6).floor() as u32 + 1,
            uncertain,
            shell: shell(design, document, catalogue, &path),
            path,
        })
    }
}

/// Values whose dimension makes them a size.
fn sizeable(catalogue: &Catalogue) -> Vec<String> {
    let mut known = catalogue.paths();
    known.retain(|path| {
        catalogue.slot(path).is_some_and(|slot| {
            matches!(
                slot.dimension,
                Dimension::Length | Dimension::Area | Dimension::Volume | Dimension::Force
            )
        })
    });
    known
}

/// The largest of 1, 2 and 5 times a power of ten of the shown unit that does not exceed a width.
fn nice_step(width: f64, dimension: Dimension, size: f64) -> f64 {
    let unit = units::axis_unit(dimension, size, UnitSystem::Metric);
    let one = 1.0 / (unit.from_si(1.0) - unit.from_si(0.0));
    let shown = width / one;
    let power = 10_f64.powf(shown.log10().floor());
    let lead = [5.0, 2.0, 1.0]
        .into_iter()
        .find(|lead| lead * power <= shown * 1.000_001)
        .unwrap_or(1.0);
    lead * power * one
}

/// "vessels.bay.volume" as "bay volume".
fn words(path: &str) -> String {
    let plain = path
        .trim_start_matches("vessels.")
        .trim_start_matches("paths.")
        .trim_start_matches("nose.")
        .trim_start_matches("shared.");
    plain.replace(['.', '_'], " ")
}

/// The shell around the volume under the nose, where its size is written.
fn shell(
    design: &DesignSection,
    document: &Document,
    catalogue: &Catalogue,
    path: &str,
) -> Option<Shell> {
    let vessel = path.strip_prefix("vessels.")?.strip_suffix(".volume")?;
    let nose = design.nose.as_ref()?;
    if nose.vessel.0.trim() != vessel {
        return None;
    }
    let bore = catalogue.central("nose.bore")?;
    let volume = catalogue.central(path)?;
    let at = |field: &str| format!("vessels.{vessel}.wall.{field}");
    let fields: Vec<_> = ["mass", "inner_area", "outer_area"]
        .into_iter()
        .filter_map(|field| {
            let path = at(field);
            let text = edit::get(&document.text, &path)?;
            let dimension = catalogue.slot(&path)?.dimension;
            Some((path, dimension, text))
        })
        .collect();
    if fields.is_empty() {
        return None;
    }
    let area = catalogue
        .central(&at("inner_area"))
        .unwrap_or(4.0 * volume / bore + 0.25 * PI * bore * bore);
    Some(Shell {
        volume,
        area,
        bore,
        fields,
    })
}
