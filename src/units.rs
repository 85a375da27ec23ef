//! Quantities as people write them ("16 g", "0.17 s/60deg", "5 psig") and SI values as
//! people read them.
//!
//! Each [`Dimension`] has its own table of units. A pressure must say whether it is
//! absolute or gauge; a temperature is not a temperature difference.
//!
//! ```
//! use coldkick::units::{Dimension, UnitSystem, format_pressure, parse};
//!
//! let charge = parse("16 g", Dimension::Mass).unwrap();
//! assert_eq!(charge.value, 0.016);
//! assert!(parse("58 bar", Dimension::AbsolutePressure).is_err()); // absolute or gauge?
//! assert_eq!(format_pressure(437_000.0, UnitSystem::Metric), "4.37 bara");
//! ```

mod dimension;
mod display;
mod error;
mod parse;
mod table;

pub use dimension::{Dimension, Limits};
pub use display::{
    DisplayUnit, UnitSystem, axis_unit, format, format_area, format_force, format_gauge_pressure,
    format_length, format_mass, format_mass_flow, format_percent, format_pressure,
    format_pressure_difference, format_speed, format_temperature, format_time, format_volume,
    number, significant,
};
pub use error::UnitError;
pub use parse::{Quantity, parse, parse_number};
pub use table::PressureReference;
