//! The whole simulator against exact answers of reduced cases.

mod common;

use common::{Reduced, flat_tag};
use readodds::estimate::checkpoint::Kept;
use readodds::estimate::passings::{crossing_of, runner_of};
use readodds::estimate::run::{Plan, ask, run};
use readodds::estimate::strata::strata;
use readodds::estimate::world::Ask;
use readodds::passing::link::two_ray_excess;
use readodds::passing::trace::{Trace, trace};
use readodds::passing::{Crossing, Prepared, RaceContext, RaceDraw, fresnel, materials};
use readodds::units::{free_space_loss_db, wave_number_rad_m};

const FREQ_MHZ: f64 = 915.0;

fn replay(prepared: &Prepared, race: u64, passing: u64) -> Trace {
    let context = RaceContext::new(prepared, RaceDraw::draw(&prepared.course, &prepared.tag, 1, race));
    let strata = strata(&prepared.course);
    let runner = runner_of(&context, &strata, 1, passing);
    let draw = crossing_of(&context, 1, passing, 0);
    trace(&Crossing::new(&context, &runner, &draw))
}

/// Expected miss rate from `worlds` worlds of `passings` each.
fn miss_rate(prepared: &Prepared, worlds: u64, passings: u64) -> f64 {
    let plan = Plan { worlds: Some(worlds), passings_per_world: passings, ..Plan::new(3) };
    let ask = ask(prepared, &plan, vec![vec![1]]);
    let done = run(prepared, &plan, ask, &mut Kept::nowhere(), &|_| true, &|| false, &mut |_| {});
    done.days(0, 0).rate().value
}

/// Source: Friis 1946: a lossless link of 36 dBm EIRP wakes a tag of −15 dBm up to d = (λ/4π)·10^((36+15)/20) =
/// 9.251 m at 915 MHz. A runner 2 m beside the antenna is inside for |x| ≤ 9.032 m. Tolerance: one round.
#[test]
fn val_read_window_of_a_pinned_runner() {
    let reduced = Reduced { point: "zone_m = 12\nlateral_m = 2.0", ..Reduced::PLAIN };
    let prepared = reduced.prepared(flat_tag(-15.0, -6.0));
    let told = replay(&prepared, 0, 0);
    let awake: Vec<f64> = told.rows.iter().filter(|r| r.awake).map(|r| r.x_m).collect();
    let step_m = told.rows[1].x_m - told.rows[0].x_m;
    let range_m = 10f64.powf((36.0 + 15.0 - free_space_loss_db(FREQ_MHZ, 1.0)) / 20.0);
    assert!((range_m - 9.251).abs() < 1e-3, "{range_m}");
    let edge_m = (range_m * range_m - 4.0).sqrt();
    assert!((awake[0] + edge_m).abs() < step_m && (awake[awake.len() - 1] - edge_m).abs() < step_m);
    for row in told.rows.iter().filter(|r| r.x_m.abs() > 0.1) {
        let d = (row.x_m * row.x_m + 4.0).sqrt();
        assert!((row.incident_dbm - (36.0 - free_space_loss_db(FREQ_MHZ, d))).abs() < 1e-9);
        // P_rx = 2 P_inc − P_port − L_cable + η
        assert!((row.received_dbm - (2.0 * row.incident_dbm - 30.0 - 6.0)).abs() < 1e-9);
    }
}

/// Source: no fading, no spread: a step at the threshold (elementary). The nearest approach is 2 m: 36 − 37.697 = −1.697 dBm.
/// Tolerance: 1e-9.
#[test]
fn val_step_at_the_threshold() {
    for (threshold_dbm, missed) in [(-1.60, 1.0), (-1.80, 0.0)] {
        let reduced = Reduced { point: "lateral_m = 2.0", ..Reduced::PLAIN };
        let rate = miss_rate(&reduced.prepared(flat_tag(threshold_dbm, -6.0)), 10, 10);
        assert!((rate - missed).abs() < 1e-9, "{threshold_dbm}: {rate}");
    }
}

/// Source: two-ray sum over ITU-R P.2040 concrete, horizontal polarisation, 1.5 m to 1.2 m: −5.568 dB at 5 m, −2.219 dB at 3 m
/// (evaluated with Python); between those the closed form. Tolerance: 0.03 dB (table of reflection coefficients).
#[test]
fn val_two_ray_pattern_through_the_simulator() {
    let reduced = Reduced {
        effects: "ground",
        point: "zone_m = 8\nlateral_m = 0\nsurface = { material = \"concrete\", film_mm = 0 }",
        antenna: "{ kind = \"side_panel\", x_m = 0, y_m = 0, z_m = 1.5, azimuth_deg = 180, gain_dbi = 6, polarisation = { tilt_deg = 0 }, power_dbm = 30, cable_loss_db = 0 }",
        ..Reduced::PLAIN
    };
    let told = replay(&reduced.prepared(flat_tag(-15.0, -6.0)), 0, 0);
    let eps = materials::road(readodds::course::surface::Material::Concrete, FREQ_MHZ).expect("not metal");
    let k = wave_number_rad_m(FREQ_MHZ);
    let mut seen = 0;
    for row in told.rows.iter().filter(|r| r.x_m < -0.5) {
        let (d, d1) = (-row.x_m, libm::hypot(row.x_m, 0.3));
        let r = fresnel::half_space(eps, 2.7 / libm::hypot(d, 2.7));
        let want = two_ray_excess(1.5, 1.2, d, r.horizontal, k);
        let got = row.incident_dbm - (36.0 - free_space_loss_db(FREQ_MHZ, d1));
        assert!((got - want).abs() < 0.03, "{d}: {got} {want}");
        for (at, table_db) in [(5.0, -5.568), (3.0, -2.219)] {
            if (d - at).abs() < 0.004 {
                assert!((got - table_db).abs() < 0.06);
                seen += 1;
            }
        }
    }
    assert!(seen >= 2);
}

/// Source: log-normal margin: P(miss) = Φ(−M/σ) (elementary), M the margin at the nearest approach. With M = 1.303 dB,
/// σ = 1 dB: 0.0963. Tolerance: 2e-3 (the nearest round lies up to one round off the nearest approach).
#[test]
fn val_log_normal_margin() {
    let reduced = Reduced {
        beliefs: "sample_offset_db = { mean = 0, sd = 1.0 }",
        point: "lateral_m = 2.0",
        ..Reduced::PLAIN
    };
    let margin_db = 36.0 - free_space_loss_db(FREQ_MHZ, 2.0) - (-3.0);
    let want = 0.5 * libm::erfc(margin_db / std::f64::consts::SQRT_2);
    let rate = miss_rate(&reduced.prepared(flat_tag(-3.0, -6.0)), 10, 20);
    assert!((margin_db - 1.303).abs() < 1e-3 && (rate - want).abs() < 2e-3, "{rate} {want}");
}

/// P(|1 + z|² < t) for complex normal z with E|z|² = `scatter`: the Rician law, by its density
/// (2r/s)·e^(−(r²+1)/s)·I₀(2r/s).
fn rician_below(t: f64, scatter: f64) -> f64 {
    let (cells, top) = (400, t.sqrt());
    (0..cells)
        .map(|i| {
            let r = (f64::from(i) + 0.5) / f64::from(cells) * top;
            let (mut term, mut bessel) = (1.0, 1.0);
            for k in 1..60 {
                term *= (r / scatter / f64::from(k)).powi(2);
                bessel += term;
            }
            2.0 * r / scatter * (-(r * r + 1.0) / scatter).exp() * bessel * top / f64::from(cells)
        })
        .sum()
}

/// Source: Rician power below the mean by 10 dB at K = 6 dB: 0.016465 (1 − Q₁(√(2K), √(2(K+1)x)), scipy 1.17.1 ncx2). Through the
/// simulator: the waves, driven by 0 dBi, meet a co-polar tag at random angles χ, so K = G·10^(S/10)/(mean of cos²χ over 8 waves), and the
/// outage is the mean of the law over that. The first round at 10 m of 60,000 passings; standard error 6e-4. Tolerance: 4.5 standard errors, false
/// alarm 7e-6.
#[test]
fn val_rician_outage() {
    let k = 10f64.powf(0.6);
    let t = 0.1 * (1.0 + 1.0 / k);
    assert!((rician_below(t, 1.0 / k) - 0.016465).abs() < 2e-6);
    // Mean power is the direct power times (1 + 1/K); the threshold lies 10 dB below that.
    let direct_dbm = 36.0 - free_space_loss_db(FREQ_MHZ, 10.0);
    let threshold_dbm = direct_dbm + 10.0 * t.log10();
    let loss_db = 6.0 - 6.0 - 10.0 * 2f64.log10();
    let reduced = Reduced {
        effects: "diffuse_waves",
        beliefs: &format!("sample_offset_db = 0\nscatter_loss_db = {loss_db}\nscatter_detour_m = 0"),
        point: "zone_m = 0.2\nlateral_m = 10.0",
        reader: "round_s = 0.009",
        ..Reduced::PLAIN
    };
    let prepared = reduced.prepared(flat_tag(threshold_dbm, -6.0));
    let context = RaceContext::new(&prepared, RaceDraw::draw(&prepared.course, &prepared.tag, 1, 0));
    let strata = strata(&prepared.course);
    let asleep = (0..60_000).filter(|&passing| {
        let runner = runner_of(&context, &strata, 1, passing);
        let draw = crossing_of(&context, 1, passing, 0);
        !trace(&Crossing::new(&context, &runner, &draw)).rows[0].awake
    });
    let rate = asleep.count() as f64 / 60_000.0;
    // Angles of eight waves by a plain lattice.
    let draws = 4000;
    let want: f64 = (0..draws)
        .map(|i| {
            let mean_cos2 = (0..8)
                .map(|m| {
                    let rank =
                        f64::from(i) * [0.4142, 0.7320, 0.2360, 0.6457, 0.3166, 0.6055, 0.1231, 0.3588][m];
                    (std::f64::consts::PI * rank).cos().powi(2) / 8.0
                })
                .sum::<f64>();
            rician_below(t, 2.0 * mean_cos2 / k) / f64::from(draws)
        })
        .sum();
    assert!((rate - want).abs() < 4.5 * 6e-4, "{rate} {want}");
}

/// Source: k independent chances, miss (1 − h)^k, with the heard odds h of the bit-error formula (Simon & Divsalar 2006, from memory).
/// Tolerance: 2 % of the miss odds (the distance changes by 9 mm over the zone).
#[test]
fn val_k_independent_chances() {
    let direct_dbm = 36.0 - free_space_loss_db(FREQ_MHZ, 14.0);
    let received_dbm = 2.0 * direct_dbm - 30.0 - 6.0;
    let above_db = -1.5;
    let gamma = 10f64.powf((above_db + 10.488) / 10.0);
    let q = 0.5 * libm::erfc((gamma / 2.0).sqrt());
    let h = (1.0 - 2.0 * q * (1.0 - q)).powi(16 + 128);
    let reduced = Reduced {
        effects: "decoding",
        beliefs: "sample_offset_db = 0",
        field: "speed_m_s = 1.0\ntag_height_m = 1.2",
        point: "zone_m = 0.5\nlateral_m = 14.0",
        reader: &format!("round_s = 0.16666666666666666\nsensitivity_dbm = {}", received_dbm - above_db),
        antenna: "",
    };
    let prepared = reduced.prepared(flat_tag(-30.0, -6.0));
    let told = replay(&prepared, 0, 0);
    assert_eq!(told.rows.len(), 6);
    let want = (1.0 - h).powi(6);
    assert!(
        h > 0.2 && h < 0.8 && (told.miss_odds / want - 1.0).abs() < 0.02,
        "{h} {} {want}",
        told.miss_odds
    );
    assert!((miss_rate(&prepared, 4, 20) / want - 1.0).abs() < 0.02);
}

/// Source: Poisson contenders of mean μ in L slots: mean alone odds e^(−μ/L); 1/e = 0.367879 at μ = L (slotted ALOHA, Schoute 1983,
/// abstract). 20,000 draws, standard error below 3.3e-4 · L^(-1/2)·…; tolerance 0.003, more than 6 standard errors.
#[test]
fn val_one_over_e() {
    let reduced = Reduced {
        effects: "contention",
        beliefs: "sample_offset_db = 0",
        point: "zone_m = 5\nlateral_m = 2.0",
        reader: "session = \"S0\"\nround_s = 0.05\nframe_slots = 64",
        ..Reduced::PLAIN
    };
    // Awake all the 5 s of the zone (threshold far below): 60 per minute × 5 s = 5 contenders; flow scales that to 64.
    let mut course = reduced.course();
    course.points[0].flow_per_min = 60.0 * 64.0 / 5.0;
    let prepared = readodds::passing::prepare(course.into(), flat_tag(-40.0, -6.0).into());
    let mean = prepared.points[0].readers[0].mean_contenders;
    assert!((mean / 64.0 - 1.0).abs() < 0.01, "{mean}");
    let context = RaceContext::new(&prepared, RaceDraw::draw(&prepared.course, &prepared.tag, 1, 0));
    let strata = strata(&prepared.course);
    let n = 20_000;
    let sum: f64 = (0..n)
        .map(|passing| {
            let runner = runner_of(&context, &strata, 1, passing);
            let draw = crossing_of(&context, 1, passing, 0);
            let crossing = Crossing::new(&context, &runner, &draw);
            let reader = &prepared.points[0].readers[0];
            reader.frames.at(crossing.contenders(reader)).alone
        })
        .sum();
    let want = (-mean / 64.0).exp();
    assert!(
        (sum / n as f64 - want).abs() < 0.003 && (want - 0.3679).abs() < 0.005,
        "{} {want}",
        sum / n as f64
    );
}

/// One tag alone: more power never lowers the read odds on the same draws, with every effect but contention on.
#[test]
fn more_power_never_hurts_a_lone_tag() {
    let rate = |power_dbm: f64| {
        let antenna = format!(
            "{{ kind = \"overhead\", x_m = 0, y_m = 0, z_m = 2.8, power_dbm = {power_dbm}, cable_loss_db = 1 }}"
        );
        let reduced = Reduced {
            effects: "ground body neighbours diffuse_waves tag_pattern antenna_pattern stride decoding",
            beliefs: "sample_offset_db = { mean = 0, sd = 0.8 }",
            field: "speed_m_s = { median = 2.8, ln_sd = 0.18 }",
            point: "lateral_m = { mean = 0, sd = 0.9 }",
            reader: "",
            antenna: &antenna,
        };
        let prepared = reduced.prepared(flat_tag(-4.0, -8.0));
        let plan = Plan { worlds: Some(4), passings_per_world: 60, ..Plan::new(5) };
        let ask = Ask {
            seed: 5,
            masks: vec![vec![1]],
            allocation: vec![60; strata(&prepared.course).len()],
            tilt: Default::default(),
        };
        let done = run(&prepared, &plan, ask, &mut Kept::nowhere(), &|_| true, &|| false, &mut |_| {});
        done.days(0, 0).each().collect::<Vec<f64>>()
    };
    let rates: Vec<Vec<f64>> = [18.0, 21.0, 24.0, 27.0].into_iter().map(rate).collect();
    for pair in rates.windows(2) {
        for (low, high) in pair[0].iter().zip(&pair[1]) {
            assert!(high <= &(low + 1e-12), "{low} {high}");
        }
    }
    assert!(rates[0][0] > rates[3][0]);
}
