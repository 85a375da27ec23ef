//! Cost of a discharge as trials run it: of the shipped designs, and against the number of vessels.

#[path = "../common/mod.rs"]
mod common;

use coldkick::design::Design;
use coldkick::discharge::{Settings, run};
use coldkick::flow::FluxModel;
use coldkick::network::spec::{Draw, End, System};
use common::systems::{air_vessel, cartridge, orifice, rigid};

fn main() {
    divan::main();
}

/// One discharge at the central values, without the run with the nose held, on one core.
#[divan::bench(args = ["tern-primary", "dunlin-bench", "gannet-reservoir-backup"])]
fn shipped(bencher: divan::Bencher<'_, '_>, name: &str) {
    let path = format!("{}/fixtures/designs/{name}.ron", env!("CARGO_MANIFEST_DIR"));
    let design = Design::read(path.as_ref()).unwrap();
    let (system, _) = design.system(&design.central()).unwrap();
    bencher.bench_local(|| run(&system, &Settings::for_many_runs()).is_ok());
}

/// A cartridge of 16 g that empties through a row of bottles of air into a bay which leaks, for 0.3 s.
fn row(vessels: usize) -> System {
    let temperature = 283.15;
    let bottles = vessels - 2;
    let mut all = vec![cartridge(16e-3, temperature, 20.3e-6, Draw::Vapour)];
    all.extend((0..bottles).map(|_| air_vessel("bottle", 1e5, temperature, 50e-6)));
    all.push(air_vessel("bay", 1e5, temperature, 1.15e-3));
    let model = FluxModel::Between(0.5);
    let mut paths: Vec<_> = (1..vessels)
        .map(|i| orifice(End::Vessel(i - 1), End::Vessel(i), 2e-6, model))
        .collect();
    let bay = End::Vessel(vessels - 1);
    paths.push(orifice(bay, End::Ambient, 2e-6, model));
    rigid(all, paths, 0.3)
}

/// The same laws between ever more vessels.
#[divan::bench(args = [2, 3, 4, 6, 8])]
fn vessels(bencher: divan::Bencher<'_, '_>, vessels: usize) {
    let system = row(vessels);
    let settings = Settings {
        relative_tolerance: 2e-5,
        ..Settings::default()
    };
    bencher.bench_local(|| run(&system, &settings).unwrap().audit.evaluations);
}
