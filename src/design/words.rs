//! Single values as a design file writes them.

use crate::units::{self, Dimension, DisplayUnit, UnitSystem, axis_unit};

/// Six significant digits without padding.
pub(super) fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    units::number(rounded)
}

/// The unit of what is written, or one a person would use for a value of that size [SI].
pub(super) fn unit_of(text: &str, dimension: Dimension, size: f64) -> DisplayUnit {
    DisplayUnit::written(dimension, text)
        .unwrap_or_else(|| axis_unit(dimension, size, UnitSystem::Metric))
}

/// A value [SI] in a unit, with six significant digits.
pub(super) fn in_unit(unit: &DisplayUnit, value: f64) -> String {
    let shown = number(unit.from_si(value));
    if unit.symbol.is_empty() {
        shown
    } else {
        format!("{shown} {}", unit.symbol)
    }
}

/// A certain value [SI] in the unit of what is written `like` this, or in one that fits its size.
pub(super) fn quantity(like: &str, dimension: Dimension, value: f64) -> String {
    in_unit(&unit_of(like, dimension, value), value)
}
