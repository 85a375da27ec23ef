//! What counts as a successful separation.

/// Criteria in SI; each is optional. Ratings of vessels and of the tether stand with them.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Criteria {
    /// The nose must be clear of the coupler within this time of the first command [s].
    pub clear_within: Option<f64>,
    /// Least speed at which the nose leaves the coupler [m/s].
    pub exit_speed_least: Option<f64>,
    /// Greatest speed at which the nose leaves the coupler [m/s].
    pub exit_speed_most: Option<f64>,
    /// Least ratio of the peak opening force the bay reaches, with the pins taken as
    /// unbreakable if need be, to the force that holds the nose [1].
    pub retention_factor: Option<f64>,
}
