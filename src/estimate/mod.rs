//! Many passings, and the mathematics of comparing what they say.

pub mod checkpoint;
pub mod common_cause;
pub mod indices;
pub mod information;
pub mod interval;
pub mod joint;
pub mod merge;
pub mod overdispersion;
pub mod paired;
pub mod paired_counts;
pub mod posterior;
pub mod prediction;
pub mod race_row;
pub mod rare;
pub mod rows_file;
pub mod run;
pub mod selection;
pub mod settle;
pub mod shard;
pub mod shared_misses;
pub mod stop;
pub mod strata;
pub mod summary;
pub mod two_rates;
pub mod weights;
pub mod whole_file;
