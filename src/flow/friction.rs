//! stub
use crate::flow::FlowError;
/// stub
pub fn friction_factor_on_flux(_k: f64, _f: f64, _r: f64) -> Result<f64, FlowError> {
    Ok(1.0)
}
