//! Results as text, data and pictures. Nothing here runs anything.

mod axis;
mod brush;
pub mod csv;
pub mod diagnosis;
pub mod diagnosis_data;
pub mod diagnosis_picture;
pub mod diagnosis_verdict;
pub mod error;
pub mod figure;
pub mod json;
pub mod map;
pub mod margins;
pub mod margins_data;
pub mod margins_picture;
pub mod margins_text;
pub mod odds;
pub mod odds_json;
pub mod odds_picture;
pub mod odds_text;
pub mod picture;
pub mod rare_text;
mod shares;
pub mod sheet;
pub mod sizing;
pub mod summary;
pub mod terminal;
pub mod trial_table;
pub mod wording;

pub use error::ReportError;
pub use figure::{Curve, Figure, Level, Mark, Panel};
pub use picture::PictureFormat;
