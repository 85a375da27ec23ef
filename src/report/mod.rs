//! Results as text, data and pictures. Nothing here runs anything.

mod axis;
mod brush;
pub mod csv;
pub mod error;
pub mod figure;
pub mod json;
pub mod map;
pub mod picture;
pub mod summary;
pub mod terminal;
pub mod wording;

pub use error::ReportError;
pub use figure::{Curve, Figure, Level, Mark, Panel};
pub use picture::PictureFormat;
