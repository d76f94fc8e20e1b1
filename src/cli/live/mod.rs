//! `stillpage live`: shows the page of a review on this machine, and keeps it up to date while somebody draws. Writes no
//! file and opens no program.

mod page_server;
mod request;

use std::{
    io::{self, Write},
    time::Duration,
};

use clap::Args;

use super::{
    interrupt::end_in_peace,
    output::write_out,
    review::{LiveReview, Repeated, ReviewRun, Task, changed_words},
    telling::{status_or_faults, tell},
};
use crate::{
    report::html::{self, Form},
    source::Fault,
};
use page_server::PageServer;

/// Saves within this time are shown together: shorter than that of `--watch`, because somebody waits for the page.
const BURST: Duration = Duration::from_millis(15);

/// What `live` takes.
#[derive(Debug, Args)]
pub(crate) struct LiveArguments {
    #[command(flatten)]
    review: LiveReview,
    /// The port on which the page is served [default: one that is free]
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    port: u16,
}

/// Runs the command until somebody ends it; gives the exit status if it cannot begin.
pub(super) fn live(arguments: &LiveArguments) -> u8 {
    status_or_faults(run(arguments))
}

fn run(arguments: &LiveArguments) -> Result<u8, Vec<Fault>> {
    end_in_peace();
    let asked = arguments.review.as_review();
    let task = Task::with_recordings(&asked, true)?;
    let server = PageServer::open(arguments.port)?;
    let mut repeated = Repeated::begin(&task, BURST)?;
    if let Some(run) = repeated.run() {
        show(&server, run)?;
    }
    server.start()?;
    write_out(|out| writeln!(out, "{}", server.address()))?;
    say("open this address in a browser on this machine; Ctrl-C ends");
    loop {
        match (repeated.next(), repeated.run()) {
            (Ok(again), Some(run)) => {
                show(&server, run)?;
                let words = changed_words(run, &again.changed);
                say(&format!("{words}; the page is new after {} ms", again.since.elapsed().as_millis()));
            }
            (Ok(_), None) => {}
            (Err(faults), _) => {
                faults.iter().for_each(tell);
                server.tell_troubles(&faults.iter().collect::<Vec<_>>());
            }
        }
    }
}

/// Puts a new page in the place of the one before: of plans that cannot be read now it shows what was reviewed last.
fn show(server: &PageServer, run: &mut ReviewRun) -> Result<(), Fault> {
    let mut page = Vec::new();
    let form = Form::Live { number: server.next_number() };
    let written = run.with_last_good(|report, recordings| html::write(report, recordings, form, &mut page));
    written.map_err(|error| {
        Fault::of_file(
            "",
            format!("the page cannot be made: {error}"),
            "please report it with the plan and its screens",
        )
    })?;
    server.show(page, &run.new_troubles());
    Ok(())
}

fn say(words: &str) {
    let _ = writeln!(io::stderr(), "{words}");
}
