//! Mats and panels of several elements, and water on what lies on the road, through the whole simulator.

mod common;

use common::{Reduced, flat_tag};
use readodds::estimate::passings::{crossing_of, runner_of};
use readodds::estimate::strata::strata;
use readodds::passing::draw::OffsetLaw;
use readodds::passing::pass::pass;
use readodds::passing::trace::{Trace, trace};
use readodds::passing::{Crossing, Prepared, RaceContext, RaceDraw, Workspace};
use readodds::random::quantity::Quantity;
use readodds::units::free_space_loss_db;

const FREQ_MHZ: f64 = 915.0;

fn with_crossing<T>(prepared: &Prepared, passing: u64, then: impl FnOnce(&Crossing) -> T) -> T {
    let context = RaceContext::new(prepared, RaceDraw::draw(&prepared.course, &prepared.tag, 1, 0));
    let runner = runner_of(&context, &strata(&prepared.course), 1, passing);
    let draw = crossing_of(&context, 1, passing, 0);
    then(&Crossing::new(&context, &runner, &draw))
}

fn replay(prepared: &Prepared) -> Trace {
    with_crossing(prepared, 0, trace)
}

fn panel(more: &str, lateral_m: f64) -> Prepared {
    let antenna = format!(
        "{{ kind = \"side_panel\", x_m = 0, y_m = 0, z_m = 1.2, azimuth_deg = 180, gain_dbi = 12, \
         polarisation = {{ tilt_deg = 0 }}, power_dbm = 24, cable_loss_db = 0{more} }}"
    );
    let point = format!("zone_m = 12\nlateral_m = {lateral_m}");
    Reduced { antenna: &antenna, point: &point, ..Reduced::PLAIN }.prepared(flat_tag(-40.0, -6.0))
}

/// Sources: C. A. Balanis, Antenna Theory, 4th ed. 2016, §6.3: array factor sin(Nψ/2)/(N sin(ψ/2)), ψ = kd sin(off boresight), and
/// half power at 8.34° (eq. 6-14b; from memory, evaluated with Python: −0.972 dB at 5°, −4.215 at 10°, −11.454 at 30°, −11.793 at 60°),
/// four elements 0.25 m apart. Tolerance: 0.3 dB beyond 10 m (near field). Nearer: the sum of four spherical waves, elementary; 1e-6 dB.
#[test]
fn val_four_elements_in_phase() {
    let wavelength_m = 299.792458 / FREQ_MHZ;
    let mut far = 0;
    for lateral_m in [0.3, 1.5, 6.0, 12.0] {
        for row in replay(&panel(", elements = 4, element_spacing_m = 0.25", lateral_m)).rows {
            let (mut re, mut im) = (0.0, 0.0);
            for place_m in [-0.375, -0.125, 0.125, 0.375_f64] {
                let d = libm::hypot(row.x_m, lateral_m - place_m).max(0.02);
                let phase = -2.0 * std::f64::consts::PI * d / wavelength_m;
                (re, im) = (re + libm::cos(phase) / d, im + libm::sin(phase) / d);
            }
            // 24 dBm in four parts on elements of 12 − 6 dBi.
            let each_dbm = 24.0 - 6.0206 + 12.0 - 6.0206 - free_space_loss_db(FREQ_MHZ, 1.0);
            let want_dbm = each_dbm + 10.0 * libm::log10(re * re + im * im);
            // In a null rounding speaks.
            if want_dbm > -60.0 {
                assert!((row.incident_dbm - want_dbm).abs() < 1e-4, "{} {want_dbm}", row.incident_dbm);
            }
            let d = libm::hypot(row.x_m, lateral_m);
            let off_deg = libm::atan2(lateral_m, -row.x_m).to_degrees();
            for (at_deg, factor_db) in [(5.0, -0.972), (10.0, -4.215), (30.0, -11.454), (60.0, -11.793)] {
                if d > 10.0 && (off_deg - at_deg).abs() < 0.06 {
                    let got_db = row.incident_dbm - (36.0 - free_space_loss_db(FREQ_MHZ, d));
                    assert!((got_db - factor_db).abs() < 0.3, "{at_deg}: {got_db}");
                    far += 1;
                }
            }
        }
    }
    assert!(far > 2, "{far} places far off");
}

/// Fed in turn, an antenna of four elements is four antennas of a quarter of the gain, each with all the power.
#[test]
fn elements_fed_in_turn_are_antennas_of_their_own() {
    let prepared = panel(", elements = 4, element_spacing_m = 0.25, feed = \"in_turn\"", 2.0);
    let antennas = &prepared.course.points[0].lines[0].readers[0].antennas;
    assert_eq!(antennas.len(), 4);
    for (antenna, y_m) in antennas.iter().zip([-0.375, -0.125, 0.125, 0.375]) {
        assert!((antenna.y_m - y_m).abs() < 1e-12 && antenna.x_m.abs() < 1e-12);
        assert!((antenna.gain_dbi - (12.0 - 6.0206)).abs() < 1e-4);
    }
    for row in replay(&prepared).rows.iter().filter(|row| row.antenna.ends_with("element 4")) {
        let d = libm::hypot(row.x_m, 2.0 - 0.375);
        let want_dbm = 24.0 + 12.0 - 6.0206 - free_space_loss_db(FREQ_MHZ, d);
        assert!((row.incident_dbm - want_dbm).abs() < 1e-4);
    }
}

fn mats(film: &str, zone_m: f64) -> Prepared {
    let antenna = "{ kind = \"mat\", y_m = -0.6, elements = 4, element_spacing_m = 0.22, power_dbm = 24, cable_loss_db = 0 }, \
                   { kind = \"mat\", y_m = 0.6, elements = 3, power_dbm = 24, cable_loss_db = 0 }";
    let point = format!(
        "zone_m = {zone_m}\nlateral_m = {{ mean = 0, sd = 0.9 }}\nsurface = {{ material = \"asphalt\", film_on_mats_mm = {film} }}"
    );
    let reduced = Reduced {
        effects: "ground body neighbours diffuse_waves water tag_pattern antenna_pattern stride decoding",
        beliefs: "sample_offset_db = { mean = 0, sd = 0.8 }",
        field: "speed_m_s = { median = 2.8, ln_sd = 0.18 }",
        point: &point,
        antenna,
        ..Reduced::PLAIN
    };
    reduced.prepared(flat_tag(-2.0, -8.0))
}

/// Bounds spare rounds of mats with elements without changing the odds: every round worked out against the quick way. Tolerance: 1e-8.
#[test]
fn quick_and_full_odds_of_elements_agree() {
    let prepared = mats("0.5", 4.0);
    let law = OffsetLaw(Quantity::Pinned(0.0));
    let (mut hard, mut spared) = (0, 0);
    for passing in 0..60 {
        with_crossing(&prepared, passing, |crossing| {
            let mut full = 1.0;
            for row in trace(crossing).rows {
                let margin_db = row.incident_dbm - row.threshold_dbm;
                // The trace has the sample's own offset in its threshold.
                let heard =
                    if margin_db + crossing.runner.sample_offset_db > 0.0 { row.heard_odds } else { 0.0 };
                full *= 1.0 - heard * row.alone_odds;
            }
            let mut work = Workspace::new();
            pass(crossing, &mut work);
            let quick = work.score_lines(1, law).miss;
            spared += work.rounds_skipped;
            hard += usize::from(full > 1e-6);
            assert!((quick - full).abs() < 1e-8, "{passing}: {quick} {full}");
        });
    }
    assert!(hard > 5 && spared > 100, "{hard} {spared}");
}

/// Water on a mat costs each way what the film lets through (val_loss_through_a_water_film), and nothing on a panel.
#[test]
fn water_on_a_mat_costs_power() {
    let powers = |film: &str| -> Vec<f64> {
        let antenna = "{ kind = \"mat\", y_m = 0, power_dbm = 30, cable_loss_db = 0 }";
        let point =
            format!("lateral_m = 0.4\nsurface = {{ material = \"asphalt\", film_on_mats_mm = {film} }}");
        let reduced = Reduced { effects: "water", point: &point, antenna, ..Reduced::PLAIN };
        replay(&reduced.prepared(flat_tag(-15.0, -6.0))).rows.iter().map(|row| row.incident_dbm).collect()
    };
    let (dry, wet, flooded) = (powers("0"), powers("0.5"), powers("5"));
    for ((dry, wet), flooded) in dry.iter().zip(&wet).zip(&flooded) {
        assert!(
            (0.5..1.0).contains(&(dry - wet)) && (9.5..12.5).contains(&(dry - flooded)),
            "{dry} {wet} {flooded}"
        );
    }
}
