use readodds::study::{rank, season};
use std::{path::Path, sync::atomic::AtomicBool, time::Instant};
fn main() {
    let t0 = Instant::now();
    let (s, w) = match season::file::load(Path::new("scenarios/seasons/lantern-coast.toml")) {
        Ok(x) => x,
        Err(e) => {
            for d in e {
                println!("{:?} {} {:?}", d.place(), d.message, d.help);
            }
            return;
        }
    };
    println!("{} warnings", w.len());
    let (r, w) = match season::resolve::resolve(&s) {
        Ok(x) => x,
        Err(e) => {
            for d in e {
                println!("{:?} {} {:?}", d.place(), d.message, d.help);
            }
            return;
        }
    };
    println!("{} sites {} warnings", r.sites.len(), w.len());
    for d in w {
        println!("{}", d.message);
    }
    let req = rank::Request::default();
    let runs = rank::run(
        &r,
        &req,
        &|p| {
            if p.stage != "passings" && p.done % 8 == 0 {
                println!("{:?} {p:?}", t0.elapsed());
            }
        },
        &AtomicBool::new(false),
    );
    println!(
        "ran {:?} worlds {} crossings {} stopped {:?}",
        t0.elapsed(),
        runs.worlds,
        runs.crossings,
        runs.stopped
    );
    let a = rank::answer(&s, &r, &runs, &req).unwrap();
    println!("{:?}", t0.elapsed());
    println!("{}", serde_json::to_string_pretty(&a).unwrap());
}
