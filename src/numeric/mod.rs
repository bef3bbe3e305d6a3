//! Special functions, distributions and small solvers, under everything beside `units`.
//!
//! All of it runs over `libm` and never over the platform's mathematics, so a result does not change with the
//! build. The incomplete beta and gamma functions are our own: the library tried first stops its continued
//! fraction after 140 steps (I_½(10⁵, 10⁵) comes out wrong, see the test in `beta`) and loses small upper tails
//! to 1 − p.
//!
//! Every function takes plain numbers and returns NaN outside its stated range, or `None` where a solver
//! finds no answer. Nothing here panics.

pub mod beta;
pub mod bivariate;
pub mod chi_square;
pub mod counts;
pub mod elementary;
pub mod f_ratio;
pub mod gamma;
pub mod hermite;
pub mod least_squares;
pub mod minimum;
pub mod noncentral_t;
pub mod quadrature;
pub mod root;
pub mod simplex;
pub mod student;
pub mod summary;

pub use crate::random::transform::{normal_cdf, normal_pdf, normal_quantile};
