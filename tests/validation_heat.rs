//! Laws of heat transfer against worked numbers.

mod common;

use coldkick::network::heat::{churchill_chu_cylinder, churchill_chu_plate};
use common::{number, published};

/// Half a unit of the last digit printed.
#[test]
fn natural_convection_of_plate_and_cylinder() {
    for row in published("churchill-chu-1975") {
        let prandtl = number(&row, "prandtl");
        let rayleigh = number(&row, "grashof") * prandtl;
        let (ours, digit) = match row["shape"].as_str() {
            "plate" => (churchill_chu_plate(rayleigh, prandtl), 0.01),
            "cylinder" => (churchill_chu_cylinder(rayleigh, prandtl), 0.001),
            other => panic!("unknown shape {other}"),
        };
        let reference = number(&row, "nusselt");
        assert!(
            (ours - reference).abs() <= 0.5 * digit,
            "{ours} against {reference}"
        );
    }
}
