use super::*;
use crate::random::Stream;

fn unscrambled(sobol: &Sobol, dim: usize, index: u64) -> f64 {
    sobol.bits(dim, index) as f64 / (1u64 << BITS) as f64
}

/// Gray-code order visits index g(i) = i ^ (i >> 1) at step i.
fn gray(step: u64) -> u64 {
    step ^ (step >> 1)
}

/// Source: S. Joe and F. Y. Kuo, SIAM J. Sci. Comput. 30 (2008) 2635-2654, the first nine points of the D(6)
/// sequence in five dimensions, Gray-code order. Tolerance: none.
#[test]
fn val_first_points() {
    let sobol = Sobol::new(5).expect("five dimensions");
    let table = [
        [0.0; 5],
        [0.5; 5],
        [0.75, 0.25, 0.25, 0.25, 0.75],
        [0.25, 0.75, 0.75, 0.75, 0.25],
        [0.375, 0.375, 0.625, 0.875, 0.375],
        [0.875, 0.875, 0.125, 0.375, 0.875],
        [0.625, 0.125, 0.875, 0.625, 0.625],
        [0.125, 0.625, 0.375, 0.125, 0.125],
        [0.1875, 0.3125, 0.9375, 0.4375, 0.5625],
    ];
    for (step, row) in table.iter().enumerate() {
        for (dim, &value) in row.iter().enumerate() {
            assert_eq!(unscrambled(&sobol, dim, gray(step as u64)), value, "step {step} dim {dim}");
        }
    }
}

/// Source: SciPy 1.17.1, stats.qmc.Sobol(64, scramble=False, bits=53), rows 7, 100, 1000 and 4095. Tolerance: none.
#[test]
fn val_high_dimensions() {
    let sobol = Sobol::new(MAX_DIMS).expect("all dimensions");
    for (dim, values) in [
        (5, [0.375, 0.7421875, 0.9072265625, 0.078857421875]),
        (11, [0.125, 0.6796875, 0.2548828125, 0.321533203125]),
        (29, [0.375, 0.7265625, 0.3408203125, 0.855224609375]),
        (40, [0.125, 0.7109375, 0.9130859375, 0.200927734375]),
        (63, [0.375, 0.6484375, 0.4462890625, 0.553466796875]),
    ] {
        for (step, value) in [7, 100, 1000, 4095].into_iter().zip(values) {
            assert_eq!(unscrambled(&sobol, dim, gray(step)), value, "step {step} dim {dim}");
        }
    }
    assert!(Sobol::new(MAX_DIMS + 1).is_none());
}

/// Every block of 2^m points puts one point into each of the 2^m equal slices of every axis, scrambled or not,
/// and four points into each of the 2^m / 4 squares of the first pair of axes.
#[test]
fn strata_hold_their_points() {
    let sobol = Sobol::new(MAX_DIMS).expect("all dimensions");
    let net = Scrambled::new(&sobol, 7, 3);
    let n = 1u64 << 10;
    for dim in 0..MAX_DIMS {
        let mut seen = vec![0; n as usize];
        for index in 3 * n..4 * n {
            seen[(net.coordinate(dim, index) * n as f64) as usize] += 1;
        }
        assert!(seen.iter().all(|&count| count == 1), "dimension {dim}");
    }
    let mut squares = [0; 256];
    for index in 0..n {
        let cell = |dim| (net.coordinate(dim, index) * 16.0) as usize;
        squares[cell(0) * 16 + cell(1)] += 1;
    }
    assert!(squares.iter().all(|&count| count == 4));
}

/// Over 4,000 scrambles the same point is uniform in each of 16 cells (chi-square with 15 degrees of freedom;
/// 44.3 is its upper 1e-4 point, so seven indices give false-alarm odds of 7e-4 once; the seeds are fixed), in the
/// first four bits and in bits five to eight, where another node of the tree decides.
#[test]
fn scrambled_points_are_uniform() {
    let sobol = Sobol::new(8).expect("eight dimensions");
    let scrambles = 4000;
    for (dim, index) in [(0, 0), (1, 1), (2, 5), (3, 77), (5, 1023), (6, 4), (7, 1 << 40)] {
        let mut cells = [[0u32; 16]; 2];
        for replication in 0..scrambles {
            let u = Scrambled::new(&sobol, 11, replication).coordinate(dim, index);
            cells[0][(u * 16.0) as usize] += 1;
            cells[1][(u * 256.0) as usize % 16] += 1;
        }
        let expected = scrambles as f64 / 16.0;
        for counts in cells {
            let chi2: f64 = counts.iter().map(|&c| (f64::from(c) - expected).powi(2) / expected).sum();
            assert!(chi2 < 44.3, "dim {dim} index {index}: {chi2}");
        }
    }
}

fn smooth(point: &[f64]) -> f64 {
    point.iter().map(|x| 1.0 + (libm::exp(*x) - 1.718_281_828_459_045)).product()
}

/// Mean and root mean square error over `replications` of the mean of `smooth` (exactly 1) over n points.
fn errors(n: u64, replications: u64, scrambled: bool) -> (f64, f64) {
    let sobol = Sobol::new(3).expect("three dimensions");
    let (mut sum, mut squares) = (0.0, 0.0);
    for replication in 0..replications {
        let net = Scrambled::new(&sobol, 5, replication);
        let mut stream = Stream::new(5, crate::random::Purpose::Study, n, 0, replication);
        let mut point = [0.0; 3];
        let mut mean = 0.0;
        for index in 0..n {
            if scrambled {
                net.fill(index, &mut point);
            } else {
                point.fill_with(|| stream.uniform());
            }
            mean += smooth(&point) / n as f64;
        }
        sum += mean - 1.0;
        squares += (mean - 1.0).powi(2);
    }
    (sum / replications as f64, (squares / replications as f64).sqrt())
}

/// Unbiased: the mean of 64 replications lies within 4.5 standard errors of the exact 1 (odds 7e-6). Faster than plain:
/// theory gives slopes of −3/2 (J. Dick, arXiv 1007.0842, 2011) and −1/2 of ln RMSE over ln n. With 64
/// replications each end has a relative error of 9 %, so a slope over a factor of 64 has standard error 0.03; −1.3
/// leaves 0.2 for the logarithmic terms, and the plain slope is held to five standard errors.
#[test]
fn error_falls_faster_than_plain() {
    let slope = |scrambled| {
        let (few, many) = (errors(64, 64, scrambled), errors(4096, 64, scrambled));
        for (bias, rmse) in [few, many] {
            assert!(bias.abs() < 4.5 * rmse / 8.0, "bias {bias} rmse {rmse}");
        }
        libm::log(many.1 / few.1) / libm::log(64.0)
    };
    let (net, plain) = (slope(true), slope(false));
    assert!(net < -1.3, "slope {net}");
    assert!((plain + 0.5).abs() < 0.15, "slope {plain}");
}
