//! `readodds plan`: prints the job script that spreads a run over machines. It runs nothing.

use super::args::{Engine, PlanArgs};
use super::failure::{DONE, Failure};
use super::output::Output;
use super::predict::plan;
use crate::estimate::shard::{MAX_SHARDS, Shard};
use std::path::Path;
use std::process::ExitCode;

pub fn run(args: &PlanArgs) -> Result<ExitCode, Failure> {
    if args.shards == 0 || args.shards > MAX_SHARDS.min(args.worlds) {
        return Err(Failure::Usage(format!(
            "--shards must be 1 to {} (not more than the worlds)",
            MAX_SHARDS.min(args.worlds)
        )));
    }
    // The same checks as those of the run itself.
    plan(args.inputs.seed, Some(args.worlds), &args.run)?;
    Output::Stdout.write(&script(args))?;
    Ok(ExitCode::from(DONE))
}

fn script(args: &PlanArgs) -> String {
    let mut inputs = quoted(&args.inputs.scenario);
    if let Some(tag) = &args.inputs.tag {
        inputs += &format!(" --tag {}", quoted(tag));
    }
    let rows = quoted(&args.rows);
    if let Some(learned) = &args.inputs.learned {
        inputs += &format!(" --learned {}", quoted(learned));
    }
    let threads = |engine: &str| match args.inputs.threads {
        0 => engine.to_owned(),
        asked => asked.to_string(),
    };
    let run = &args.run;
    let one = |shard: &str, engine_threads: &str| {
        format!(
            "readodds predict {inputs} --seed {} --worlds {} --passings-per-world {} --precision {} --least-runners {} --max-passings {} --shard {shard} --rows {rows} --threads {}",
            args.inputs.seed,
            args.worlds,
            run.passings_per_world,
            run.precision,
            run.least_runners,
            run.max_passings,
            threads(engine_threads)
        )
    };
    let require = args.require.map_or(String::new(), |odds| format!(" --require {odds}"));
    let merge = format!("readodds merge {inputs} {rows} --format json --out forecast.json{require}");
    let last = args.shards - 1;
    match args.engine {
        Engine::Slurm => format!(
            "#!/bin/sh\n\
             # Submit with: sbatch FILE. When all tasks are done: sbatch --dependency=afterok:JOB --wrap '{}'\n\
             # A task that failed or was requeued may run again: it goes on where it stopped.\n\
             #SBATCH --job-name=readodds\n\
             #SBATCH --array=0-{last}\n\
             #SBATCH --ntasks=1\n\
             exec {}\n",
            merge.replace('\'', "'\\''"),
            one("auto", "\"${SLURM_CPUS_PER_TASK:-1}\"")
        ),
        Engine::Mpi => format!(
            "#!/bin/sh\n\
             # Open MPI only starts the processes; nothing is sent between them.\n\
             set -e\n\
             mpirun -np {} {}\n\
             {merge}\n",
            args.shards,
            one("auto", "1")
        ),
        Engine::Shell => {
            let mut text = "#!/bin/sh\n# Each line may run on any machine that has the same files and program, in any order.\nset -e\n".to_owned();
            for index in 0..args.shards {
                let shard = Shard { index, of: args.shards };
                text += &one(&shard.to_string(), "0");
                text.push('\n');
            }
            text + &merge + "\n"
        }
    }
}

/// A path as one word of a POSIX shell.
fn quoted(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+,=:@%".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_become_one_shell_word() {
        assert_eq!(quoted(Path::new("a/b-1.toml")), "a/b-1.toml");
        assert_eq!(quoted(Path::new("my race's.toml")), "'my race'\\''s.toml'");
        assert_eq!(quoted(Path::new("$(x)")), "'$(x)'");
    }
}
