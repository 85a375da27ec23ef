use coldkick::design::Design;
use coldkick::discharge::{Settings, run};
#[test]
fn look() {
    let design = Design::read(std::path::Path::new("fixtures/designs/tern-primary.ron")).unwrap();
    let (mut sys, _) = design.system(&design.central()).unwrap();
    sys.horizon = 0.25;
    let s = Settings {
        relative_tolerance: 1e-5,
        ..Settings::default()
    };
    let r = run(&sys, &s).unwrap();
    println!("{:?}", r.audit);
}
