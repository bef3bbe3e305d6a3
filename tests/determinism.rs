//! Same build, seed and files: the same bytes on any number of threads and any cut into blocks.

mod common;

use common::demo;
use readodds::estimate::run::{Plan, world_rows};
use readodds::estimate::world::Ask;
use readodds::study::predict::predict;

fn in_threads<T: Send>(threads: usize, work: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a small pool starts").install(work)
}

#[test]
fn threads_and_blocks_change_no_byte() {
    let prepared = demo("half-marathon-rain-eu-lower.toml", "cedar");
    let plan = Plan { worlds: Some(32), passings_per_world: 40, ..Plan::new(11) };
    let forecast = || serde_json::to_string(&predict(&prepared, &plan, &[], &|| false)).expect("serialises");
    let one = in_threads(1, forecast);
    let two = in_threads(2, forecast);
    assert!(one == two, "one thread and two threads differ");
    let strata = readodds::estimate::strata::strata(&prepared.course).len();
    let ask = Ask {
        seed: 11,
        masks: Ask::standard_masks(&prepared),
        allocation: vec![4; strata],
        tilt: Default::default(),
    };
    let whole = world_rows(&prepared, &ask, (0..9).collect(), &|| false);
    for cut in [1, 4, 8] {
        let mut parts = world_rows(&prepared, &ask, (0..cut).collect(), &|| false);
        parts.extend(world_rows(&prepared, &ask, (cut..9).collect(), &|| false));
        assert_eq!(parts, whole);
    }
}

#[test]
fn another_seed_gives_other_numbers() {
    let prepared = demo("trail-soaked-one-mat.toml", "birch");
    let strata = readodds::estimate::strata::strata(&prepared.course).len();
    let rows = |seed| {
        let ask = Ask {
            seed,
            masks: Ask::standard_masks(&prepared),
            allocation: vec![4; strata],
            tilt: Default::default(),
        };
        world_rows(&prepared, &ask, (0..3).collect(), &|| false)
    };
    assert_ne!(rows(1), rows(2));
    assert_eq!(rows(1), rows(1));
}
