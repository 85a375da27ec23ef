//! Integration allocates nothing from step to step: what a run asks of the memory is the same however many steps it
//! takes, but for series of samples that double when they are full.

use std::alloc::{GlobalAlloc, Layout, System as Memory};
use std::cell::Cell;
use std::convert::Infallible;

use coldkick::design::Design;
use coldkick::discharge::{Discharge, Extent, Settings, run};
use coldkick::numerics::integrate::{
    Direction, Integrator, Method, Settings as IntegratorSettings, Stop, System,
};

thread_local! {
    static COUNT: Cell<u64> = const { Cell::new(0) };
}

/// The memory of the system, counting what each thread asks of it.
struct Counting;

fn count() {
    // A thread that is ending has nothing left to count on.
    let _ = COUNT.try_with(|count| count.set(count.get() + 1));
}

#[allow(unsafe_code)]
// SAFETY: every call is handed on as it is.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count();
        unsafe { Memory.alloc(layout) }
    }
    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        count();
        unsafe { Memory.alloc_zeroed(layout) }
    }
    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        count();
        unsafe { Memory.realloc(at, layout, size) }
    }
    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        unsafe { Memory.dealloc(at, layout) }
    }
}

#[global_allocator]
static MEMORY: Counting = Counting;

/// What `work` returns and how often it asked for memory.
fn counted<T>(work: impl FnOnce() -> T) -> (T, u64) {
    let before = COUNT.get();
    let result = work();
    (result, COUNT.get() - before)
}

#[test]
fn the_counter_counts() {
    let (kept, asked) = counted(|| (0..100).map(|i| vec![i; 3]).collect::<Vec<_>>());
    assert_eq!((kept.len(), asked), (100, 101));
}

/// Van der Pol's oscillator with an event at every crossing of zero.
struct Oscillator {
    stiffness: f64,
}

impl System for Oscillator {
    type Error = Infallible;
    fn rates(&mut self, _: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        rates[0] = state[1];
        rates[1] = self.stiffness * (1.0 - state[0] * state[0]) * state[1] - state[0];
        Ok(())
    }
    fn events(&mut self, _: f64, state: &[f64], values: &mut [f64]) -> Result<(), Infallible> {
        values[0] = state[0];
        Ok(())
    }
    fn event_direction(&self, _: usize) -> Direction {
        Direction::Either
    }
}

/// Not one allocation from the start to the end of a run, by either method, with dense output, with events and with
/// changes of method on the way.
#[test]
fn an_integrator_asks_for_memory_only_when_it_is_made() {
    for (method, stiffness) in [
        (Method::Explicit, 2.0),
        (Method::Stiff, 50.0),
        (Method::Automatic, 50.0),
    ] {
        let settings = IntegratorSettings {
            relative: 1e-7,
            absolute: vec![1e-9],
            method,
            ..IntegratorSettings::default()
        };
        let mut integrator = Integrator::new(2, 1, settings).unwrap();
        let mut system = Oscillator { stiffness };
        let mut sum = 0.0;
        let ((events, inside), asked) = counted(|| {
            let (mut events, mut state) = (0, [0.0; 2]);
            integrator.start(0.0, &[2.0, 0.0]);
            loop {
                let stop = integrator
                    .advance(&mut system, 200.0, &mut |_, step| {
                        step.interpolate(0.5 * (step.time_old + step.time_new), &mut state);
                        sum += state[0];
                    })
                    .unwrap();
                match stop {
                    Stop::Event { .. } => events += 1,
                    Stop::End => return (events, state),
                }
            }
        });
        let done = integrator.statistics();
        println!("{method:?}: {done:?}, {asked} allocations");
        assert!(events >= 4 && done.steps > 300 && inside[0].is_finite());
        assert_eq!(asked, 0, "{method:?}");
    }
}

const DESIGNS: [&str; 3] = ["dunlin-bench", "tern-primary", "gannet-reservoir-backup"];

/// How often the series of samples of a trajectory have doubled, up to what is the same in every run.
fn doublings(discharge: &Discharge) -> f64 {
    let trajectory = &discharge.trajectory;
    let vessels = trajectory.vessels.iter().flat_map(|vessel| {
        [
            &vessel.pressure,
            &vessel.temperature,
            &vessel.co2_mass,
            &vessel.air_mass,
            &vessel.solid_mass,
            &vessel.liquid_mass,
            &vessel.wall_temperature,
        ]
    });
    let nose = trajectory.nose.iter().flat_map(|nose| {
        [
            &nose.travel,
            &nose.speed,
            &nose.opening_force,
            &nose.tether_tension,
        ]
    });
    let paths = trajectory
        .paths
        .iter()
        .flat_map(|path| [&path.mass_flow, &path.open_area]);
    let choked = trajectory.paths.iter().map(|path| path.choked.capacity());
    vessels
        .chain(nose)
        .chain(paths)
        .chain([&trajectory.times])
        .map(Vec::capacity)
        .chain(choked)
        .map(|capacity| (capacity.max(1) as f64).log2())
        .sum()
}

/// The same discharge in several times the steps: it asks for memory no more often, but for the doublings of its
/// series and for less than one step in twenty.
#[test]
fn a_discharge_asks_for_no_memory_from_step_to_step() {
    for name in DESIGNS {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/designs");
        let design = Design::read(&folder.join(format!("{name}.ron"))).unwrap();
        let (system, _) = design.system(&design.central()).unwrap();
        for (extent, hold_nose) in [
            (Extent::Separation, false),
            (Extent::Separation, true),
            (Extent::Horizon, false),
        ] {
            let measured = |relative_tolerance: f64| {
                let settings = Settings {
                    relative_tolerance,
                    extent,
                    hold_nose,
                    ..Settings::for_many_runs()
                };
                let settings = Settings {
                    most_steps: 200_000,
                    ..settings
                };
                // Once before, so that tables are filled and what is set up once is there.
                run(&system, &settings).unwrap();
                counted(|| run(&system, &settings).unwrap())
            };
            let (few, asked_for_few) = measured(1e-5);
            let (many, asked_for_many) = measured(1e-10);
            let steps = |discharge: &Discharge| discharge.audit.steps as f64;
            let events = many.events.len().abs_diff(few.events.len()) as u64;
            let more = (doublings(&many) - doublings(&few)).max(0.0).ceil() as u64;
            // A trial state outside the model says so in words, which steps refused now and then do.
            let refused = ((steps(&many) - steps(&few)) / 20.0).max(0.0) as u64;
            let allowed = more + 4 * events + refused;
            println!(
                "{name} {extent:?} held {hold_nose}: {asked_for_few} allocations in {} steps, \
                 {asked_for_many} in {}; {allowed} more allowed, {} and {} events",
                steps(&few),
                steps(&many),
                few.events.len(),
                many.events.len()
            );
            assert!(
                steps(&many) > 2.0 * steps(&few),
                "{name}: too few steps to tell"
            );
            assert!(
                asked_for_many <= asked_for_few + allowed,
                "{name} {extent:?}: {asked_for_few} and {asked_for_many} allocations"
            );
        }
    }
}
