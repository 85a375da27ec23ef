//! One test per bug that got away once.

use coldkick::network::contents::Contents;
use coldkick::network::spec::Condensation;
use coldkick::thermo::source::Tables;

/// The optimised build refused the shipped Tern design: an integration left a cartridge with
/// 1.6e-9 kg of air less than none, which is within its tolerance, and a fixed bound of 1e-9 kg
/// called that impossible. The state is the one it stopped at.
#[test]
fn air_below_zero_within_the_tolerance_is_no_air() {
    let at = |air: f64| {
        Contents::new(
            &Tables,
            Condensation::Equilibrium,
            (0.015_876_491_473_354_615, air),
            3_364.817_533_024_315_3,
            2.15e-5,
            278.0,
        )
    };
    let below = at(-1.550_557_380_534_442_2e-9).expect("a state with no air");
    assert_eq!(below, at(0.0).expect("a state with no air"));
    assert_eq!(below.air_density, 0.0);
}
