//! 500 simulated measuring campaigns with a known truth: how often the intervals hold it.
//!
//! Truth and samples come from the model the lab states: a spread of offsets drawn from its prior (half-t, 4 degrees of freedom, 1 dB),
//! a spread of shifts from its own (2 MHz), an error of placing each sample in each mount, noise. An interval that is
//! right at 95 % then holds the truth in 95 % of campaigns; of 500 the share has a standard deviation of
//! √(0.95·0.05/500) = 1.0 %, so 93 to 97 % is passed with odds of about 95 % by each of the four shares if it is right.
//! The seed is fixed: the test does not flicker, but a change of the draws may meet the other 5 %.

use readodds::diag::Source;
use readodds::lab::tag_file::{self, TagFile};
use readodds::lab::{Level, Mount, Reading, Sweep};
use readodds::numeric::student::t_quantile;
use readodds::random::{Purpose, Stream};
use readodds::study::lab::one::band_interval;
use readodds::tag::interval::{CurveInterval, slope};
use readodds::tag::load::from_sweeps;
use std::sync::Arc;

const CAMPAIGNS: u64 = 500;
const SAMPLES: usize = 4;
const PLACEMENT_SD_DB: f64 = 0.15;
const NOISE_SD_DB: f64 = 0.12;

/// Threshold of the average tag of the production: one resonance per mount.
fn truth(mount: usize, freq: f64) -> f64 {
    let (best, centre, width) = [(-18.0, 915.0, 45.0), (-11.0, 902.0, 50.0), (0.0, 890.0, 60.0)][mount];
    let away = (freq - centre) / width;
    best + 10.0 * (1.0 + away * away).log10()
}

fn half_t(u: f64) -> f64 {
    t_quantile(0.5 + 0.5 * u, 4.0)
}

fn campaign(index: u64, source: &Arc<Source>) -> (f64, f64, Vec<Sweep>) {
    campaign_of(index, source, f64::INFINITY, &truth)
}

/// The same where no sample wakes above `limit_dbm`, of a tag of threshold `truth(mount, MHz)`.
fn campaign_of(
    index: u64,
    source: &Arc<Source>,
    limit_dbm: f64,
    truth: &dyn Fn(usize, f64) -> f64,
) -> (f64, f64, Vec<Sweep>) {
    let mut stream = Stream::new(7, Purpose::Campaign, 1, 0, index);
    let (offset_sigma, shift_sigma) = (half_t(stream.uniform()), 2.0 * half_t(stream.uniform()));
    let mut sweeps = Vec::new();
    for sample in 0..SAMPLES {
        let (offset, shift) = (offset_sigma * stream.normal(), shift_sigma * stream.normal());
        for mount in 0..3 {
            let placement = PLACEMENT_SD_DB * stream.normal();
            let readings = (0..=50)
                .map(|k| {
                    let freq_mhz = 850.0 + 2.0 * f64::from(k);
                    let level =
                        truth(mount, freq_mhz - shift) + offset + placement + NOISE_SD_DB * stream.normal();
                    Reading {
                        freq_mhz,
                        threshold_dbm: Some(if level > limit_dbm {
                            Level::Above(limit_dbm)
                        } else {
                            Level::Exact(level)
                        }),
                        backscatter_db: (level <= limit_dbm || mount < 2).then_some(-10.0),
                        backscatter_at_dbm: None,
                        at: 0,
                    }
                })
                .collect();
            sweeps.push(Sweep {
                sample: format!("S{sample}"),
                mount: match mount {
                    0 => Mount::FreeAir,
                    _ => Mount::Phantom { name: "body".into(), gap_mm: [0.0, 10.0, 2.0][mount] },
                },
                link: String::new(),
                repeat: String::new(),
                taken: Default::default(),
                minute: None,
                readings,
                source: source.clone(),
            });
        }
    }
    (offset_sigma, shift_sigma, sweeps)
}

#[test]
fn intervals_hold_the_truth_in_93_to_97_of_100_campaigns() {
    let source = Source::new("tag.toml", "name = 'x'\nown_spacer_mm = 1\nlevel = 'referred'\n");
    let file: TagFile = tag_file::read(&source).expect("good");
    // Curve at three frequencies and mounts, offset spread, shift spread.
    let places = [(0, 866.0), (1, 915.0), (2, 922.0)];
    let (mut curve, mut offset_held, mut shift_held) = ([0u32; 3], 0u32, 0u32);
    for index in 0..CAMPAIGNS {
        let (offset_sigma, shift_sigma, sweeps) = campaign(index, &source);
        let (measured, _) =
            from_sweeps(file.clone(), &source, sweeps, Vec::new(), Vec::new()).expect("loads");
        let interval = CurveInterval::new(&measured, 0.95);
        for (held, (mount, freq)) in curve.iter_mut().zip(places) {
            let found = &measured.tag.curve.mounts()[mount].threshold_dbm;
            let half = interval.half_width_db(slope(found, freq));
            *held += u32::from((found.value(freq) - truth(mount, freq)).abs() <= half);
        }
        let holds = |posterior: &readodds::tag::spread::SigmaPosterior, sigma: f64| {
            u32::from(posterior.quantile(0.025) <= sigma && sigma <= posterior.quantile(0.975))
        };
        offset_held += holds(&measured.tag.spread.offset_sigma_db, offset_sigma);
        shift_held += holds(&measured.tag.spread.shift_sigma_mhz, shift_sigma);
    }
    let share = |held: u32| f64::from(held) / CAMPAIGNS as f64;
    let shares = [share(curve[0]), share(curve[1]), share(curve[2]), share(offset_held), share(shift_held)];
    println!("curves 866, 915, 922 MHz, offset spread, shift spread: {shares:?}");
    assert!(shares.iter().all(|s| (0.93..=0.97).contains(s)), "held: {shares:?}");
}

/// Tags of many shapes whose closest mount does not wake in a share of 902 to 928 MHz (of its average tag): how often the interval of the mean
/// threshold over that band holds the truth. 100 campaigns a share: bound 0.95 − 3.5·√(0.95·0.05/100) = 0.873 (false alarm 2e-4 each).
/// Tags are one resonance with a slope on it, so the model of `tag::open` is close but not right.
#[test]
fn intervals_hold_the_truth_where_no_sample_woke() {
    const PLACES: u64 = 100;
    let source = Source::new("tag.toml", "name = 'x'\nown_spacer_mm = 1\nlevel = 'referred'\n");
    let file: TagFile = tag_file::read(&source).expect("good");
    let band: Vec<f64> = (0..14).map(|k| 902.0 + 2.0 * f64::from(k)).collect();
    let mean = |value: &dyn Fn(f64) -> f64| band.iter().map(|f| value(*f)).sum::<f64>() / band.len() as f64;
    for share in [0.0, 0.16, 0.42, 0.69] {
        let (mut held, mut width, mut miss) = (0, 0.0, 0.0);
        for index in 0..PLACES {
            let mut stream = Stream::new(8, Purpose::Campaign, 2, 0, index);
            let (fall, rise) = (8.0 + 12.0 * stream.normal(), 4.0 + 12.0 * stream.uniform());
            let (width_mhz, slope_db) = (25.0 + 45.0 * stream.uniform(), 1.5 * stream.normal());
            let shape = |mount: usize, freq: f64| {
                let close = f64::from(u8::from(mount == 2));
                let away = (freq - 912.0 + 10.0 * f64::from(u8::from(mount == 1)) + fall * close) / width_mhz;
                let best = [-18.0, -11.0, -11.0 + rise][mount];
                best + 10.0 * (1.0 + away * away).log10() + slope_db * (freq - 900.0) / 50.0
            };
            let mut levels: Vec<f64> = band.iter().map(|f| shape(2, *f)).collect();
            levels.sort_by(f64::total_cmp);
            let open = (share * band.len() as f64) as usize;
            let limit_dbm = if open == 0 { f64::INFINITY } else { levels[band.len() - open] - 0.01 };
            let (_, _, sweeps) = campaign_of(index, &source, limit_dbm, &shape);
            let (measured, _) =
                from_sweeps(file.clone(), &source, sweeps, Vec::new(), Vec::new()).expect("loads");
            let interval = CurveInterval::new(&measured, 0.95);
            let (low, high) = band_interval(&measured.tag.curve.mounts()[2], &interval, 902.0, 928.0);
            let true_dbm = mean(&|f| shape(2, f));
            held += u32::from(low <= true_dbm && true_dbm <= high);
            width += (high - low) / PLACES as f64;
            miss += (0.5 * (low + high) - true_dbm) / PLACES as f64;
        }
        let cover = f64::from(held) / PLACES as f64;
        println!("open {share}: held {cover:.2}, {width:.2} dB wide, middle off by {miss:.2} dB");
        assert!(cover >= 0.873, "open {share}: {cover}");
    }
}
