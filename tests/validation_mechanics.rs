//! Tether and atmosphere against published and worked values.

mod common;

use coldkick::mechanics::tether::{rope_axial_stiffness, rope_fall, snatch};
use coldkick::network::atmosphere::standard_air;
use common::{close, number, published};

#[test]
fn tether_benchmarks() {
    let rows = published("tether-benchmarks");
    let value = |case: &str| {
        let row = rows
            .iter()
            .find(|row| row["case"] == case)
            .expect("a case of the set");
        number(row, "value")
    };
    let peak = snatch(10.0, 5_000.0, 8.0 / 9.0).expect("in range");
    close("force", peak.force, value("snatch_force"), 8e-6);
    close("stretch", peak.stretch, value("snatch_stretch"), 4e-5);
    close("energy", peak.energy, value("snatch_energy"), 2e-5);
    let stiffness = rope_axial_stiffness(80.0, 1.77, 9_000.0).expect("in range");
    close("EA", stiffness, value("rope_axial_stiffness"), 2.1e-5);
    close(
        "back",
        rope_fall(80.0, 1.77, stiffness).expect("in range"),
        9_000.0,
        1e-12,
    );
}

#[test]
fn standard_atmosphere() {
    for row in published("iso-2533-1975") {
        let altitude = number(&row, "altitude");
        let air = standard_air(altitude).expect("in range");
        close(
            "temperature",
            air.temperature,
            number(&row, "temperature"),
            3e-6,
        );
        // Five printed digits, four in one or two rows of small numbers.
        close("pressure", air.pressure, number(&row, "pressure"), 5e-5);
        let density = air.pressure / (287.052_87 * air.temperature);
        close("density", density, number(&row, "density"), 5e-5);
    }
    assert!(standard_air(60_000.0).is_none());
}
