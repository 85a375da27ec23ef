//! What a design leaves open (`size: (...)`), and the making of candidates by editing the design
//! itself: what is judged is what would be saved.

mod bill;
mod cartridges;
mod make;
mod options;
mod plan;
mod table;
mod value;
mod write;

pub use bill::{Bill, Item, bill};
pub use make::SizingWorkshop;
pub use options::{Choice, ChoiceOption};
pub use plan::{Plan, TemperatureRange};
pub use table::{HoldingCase, HoldingRow, holding_table};
pub use value::OpenValue;
