//! Traces of ground tests: from the text a logger wrote to columns in SI, with what was
//! understood and repaired said in words, and reduced to the few hundred points a fit needs.
//!
//! Takes text, not files. Everything a reader of the report should know about the data is in
//! [`Trace::understood`] and [`Trace::repairs`].

mod columns;
pub mod error;
mod heading;
mod number;
pub mod read;
pub mod reduce;
mod table;

pub use columns::Assignment;
pub use error::TraceError;
pub use heading::{Place, Reference};
pub use read::{Column, Quantity, ReadOptions, Trace, read};
pub use reduce::reduce;
