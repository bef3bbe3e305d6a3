//! One part of a run: the races r with r mod n = i, for shard i of n.
//!
//! Every race is a pure function of the inputs, the seed and its own index, so the parts may run anywhere, in any order,
//! on any number of threads, and again after a failure.

use serde::{Deserialize, Serialize};

/// Shard `index` of `of`, counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shard {
    pub index: u64,
    pub of: u64,
}

/// The whole run.
pub const WHOLE: Shard = Shard { index: 0, of: 1 };
/// Most shards of a run.
pub const MAX_SHARDS: u64 = 100_000;

impl Shard {
    fn checked(index: u64, of: u64) -> Result<Shard, String> {
        if of == 0 || of > MAX_SHARDS {
            return Err(format!("the number of shards is {of}; it must be 1 to {MAX_SHARDS}"));
        }
        if index >= of {
            return Err(format!("shard {index} of {of} does not exist: shards count from 0 to {}", of - 1));
        }
        Ok(Shard { index, of })
    }

    /// `2/8`, counted from 0.
    pub fn parse(text: &str) -> Result<Shard, String> {
        let numbers = text.split_once('/').map(|(index, of)| (index.parse::<u64>(), of.parse::<u64>()));
        match numbers {
            Some((Ok(index), Ok(of))) => Shard::checked(index, of),
            _ => Err(format!("`{text}` is no shard; write I/N with I from 0 to N-1 (0/8), or auto")),
        }
    }

    /// The shard a batch engine names in the environment: a Slurm job array (its task number less the array's lowest) or a process
    /// started by the Open MPI launcher.
    pub fn from_environment(variable: impl Fn(&str) -> Option<String>) -> Result<Shard, String> {
        let number = |name: &str| match variable(name) {
            None => Ok(None),
            Some(text) => match text.parse::<u64>() {
                Ok(value) => Ok(Some(value)),
                Err(_) => Err(format!("{name} is `{text}`, not a whole number")),
            },
        };
        let slurm = (number("SLURM_ARRAY_TASK_ID")?, number("SLURM_ARRAY_TASK_COUNT")?);
        let mpi = (number("OMPI_COMM_WORLD_RANK")?, number("OMPI_COMM_WORLD_SIZE")?);
        match (slurm, mpi) {
            ((Some(_), Some(_)), (Some(_), Some(_))) => Err(
                "both a Slurm job array and an Open MPI launcher are at work; say which shard with --shard I/N"
                    .to_owned(),
            ),
            ((Some(id), Some(count)), _) => {
                let lowest = number("SLURM_ARRAY_TASK_MIN")?.unwrap_or(0);
                let step = number("SLURM_ARRAY_TASK_STEP")?.unwrap_or(1);
                if step != 1 {
                    return Err(format!("the job array counts in steps of {step}; use --array=0-{}", count.saturating_sub(1)));
                }
                Shard::checked(id.saturating_sub(lowest), count)
            }
            (_, (Some(rank), Some(size))) => Shard::checked(rank, size),
            _ => Err("no batch engine named a shard (neither SLURM_ARRAY_TASK_ID and SLURM_ARRAY_TASK_COUNT nor OMPI_COMM_WORLD_RANK and OMPI_COMM_WORLD_SIZE are set); write --shard I/N".to_owned()),
        }
    }

    /// Its worlds among `worlds`, in order.
    pub fn worlds(self, worlds: u64) -> impl Iterator<Item = u64> + Clone {
        (self.index..worlds).step_by(self.of as usize)
    }

    /// File name of its rows.
    pub fn file_name(self) -> String {
        format!("shard-{:05}-of-{:05}.rows", self.index, self.of)
    }
}

impl std::fmt::Display for Shard {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.index, self.of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn environment(set: &'static [(&'static str, &'static str)]) -> Result<Shard, String> {
        Shard::from_environment(|name| {
            set.iter().find(|(key, _)| *key == name).map(|(_, value)| (*value).to_owned())
        })
    }

    #[test]
    fn shards_are_named_and_refused() {
        assert_eq!(Shard::parse("2/8"), Ok(Shard { index: 2, of: 8 }));
        for bad in ["8/8", "0/0", "1", "a/b", "-1/4", "0/100001", "1/2/3", ""] {
            assert!(Shard::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn every_world_belongs_to_one_shard() {
        for of in [1, 3, 8, 40] {
            let mut all: Vec<u64> = (0..of).flat_map(|index| Shard { index, of }.worlds(31)).collect();
            all.sort_unstable();
            assert_eq!(all, (0..31).collect::<Vec<u64>>());
        }
    }

    #[test]
    fn batch_engines_name_the_shard() {
        let slurm = &[("SLURM_ARRAY_TASK_ID", "5"), ("SLURM_ARRAY_TASK_COUNT", "8")];
        assert_eq!(environment(slurm), Ok(Shard { index: 5, of: 8 }));
        let from_one =
            &[("SLURM_ARRAY_TASK_ID", "8"), ("SLURM_ARRAY_TASK_COUNT", "8"), ("SLURM_ARRAY_TASK_MIN", "1")];
        assert_eq!(environment(from_one), Ok(Shard { index: 7, of: 8 }));
        let mpi = &[("OMPI_COMM_WORLD_RANK", "0"), ("OMPI_COMM_WORLD_SIZE", "3")];
        assert_eq!(environment(mpi), Ok(Shard { index: 0, of: 3 }));
        let stepped =
            &[("SLURM_ARRAY_TASK_ID", "4"), ("SLURM_ARRAY_TASK_COUNT", "4"), ("SLURM_ARRAY_TASK_STEP", "2")];
        assert!(environment(stepped).is_err());
        assert!(environment(&[]).is_err());
        assert!(environment(&[("SLURM_ARRAY_TASK_ID", "x"), ("SLURM_ARRAY_TASK_COUNT", "8")]).is_err());
    }
}
