//! `readodds completions` and `readodds manual`: made from the same declarations as `--help`.

use super::args::{Cli, CompletionsArgs, ManualArgs};
use super::failure::{DONE, Failure};
use super::output::Output;
use clap::CommandFactory;
use std::process::ExitCode;

pub fn completions(args: &CompletionsArgs) -> Result<ExitCode, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "readodds", &mut script);
    print(&script)
}

pub fn manual(args: &ManualArgs) -> Result<ExitCode, Failure> {
    let whole = Cli::command();
    let (title, command) = match &args.command {
        None => ("readodds".to_owned(), whole),
        Some(name) => {
            let found = whole.find_subcommand(name).cloned();
            let all: Vec<&str> = whole.get_subcommands().map(clap::Command::get_name).collect();
            let known = || Failure::Usage(format!("no command {name:?}; there are {}", all.join(", ")));
            let command = found.ok_or_else(known)?.bin_name(format!("readodds {name}"));
            (format!("readodds-{name}"), command.display_name(format!("readodds-{name}")))
        }
    };
    let mut page = Vec::new();
    let written = clap_mangen::Man::new(command).title(title).render(&mut page);
    written.map_err(|e| Failure::Internal(format!("cannot write the page: {e}")))?;
    print(&page)
}

fn print(text: &[u8]) -> Result<ExitCode, Failure> {
    Output::Stdout.write(&String::from_utf8_lossy(text))?;
    Ok(ExitCode::from(DONE))
}
