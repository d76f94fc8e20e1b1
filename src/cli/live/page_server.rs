//! The page on the loopback address: who asks for it under its secret path gets it, and learns when it changes. Nothing
//! from elsewhere can connect, and nothing is written to the disk. Knows bytes, not what the page says.

use std::{
    io::{self, Read, Write},
    net::{Ipv4Addr, TcpListener, TcpStream},
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
    thread,
    time::Duration,
};

use serde::Serialize;

use super::request::{Asked, LONGEST_HEAD, Place, Refusal, TOO_MANY};
use crate::{report::sentences::sentence, source::Fault};

/// So many requests are answered at once; a window that shows the page is one of them.
const MOST_AT_ONCE: usize = 32;
/// A request has to be complete, and an answer to be taken, within this time.
const PATIENCE: Duration = Duration::from_secs(10);
/// A reader that nothing new is sent to is asked so often whether it is still there.
const STILL_THERE: Duration = Duration::from_secs(15);
/// The page may run its own script and ask this server for news, and nothing else.
const POLICY: &str = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; \
                      connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Serves the page.
pub(super) struct PageServer {
    listener: TcpListener,
    desk: Arc<Desk>,
}

/// What all requests share.
struct Desk {
    place: Place,
    shown: Mutex<Shown>,
    changed: Condvar,
}

/// What is shown now.
#[derive(Default)]
struct Shown {
    page: Arc<Vec<u8>>,
    /// The number of the page.
    number: u64,
    /// What readers learn, as JSON.
    news: String,
    /// How often there was news.
    times: u64,
    /// How many requests are being answered.
    readers: usize,
}

#[derive(Serialize)]
struct News {
    page: u64,
    troubles: Vec<Trouble>,
}

#[derive(Serialize)]
struct Trouble {
    place: String,
    message: String,
    help: String,
}

impl PageServer {
    /// Takes a port; 0 takes one that is free.
    pub(super) fn open(port: u16) -> Result<Self, Fault> {
        let cannot = |error: io::Error| {
            let message = format!("the page cannot be served on port {port} of this machine: {error}");
            Fault::of_file("", message, "leave out `--port` to take a port that is free")
        };
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(cannot)?;
        let port = listener.local_addr().map_err(cannot)?.port();
        let place = Place::new(port, &secret()?);
        Ok(Self { listener, desk: Arc::new(Desk { place, shown: Mutex::default(), changed: Condvar::new() }) })
    }

    /// What somebody opens.
    pub(super) fn address(&self) -> String {
        self.desk.place.address()
    }

    /// The number of the page that is shown next.
    pub(super) fn next_number(&self) -> u64 {
        self.desk.shown().number + 1
    }

    /// Shows a page from now on, and what is wrong with files that it does not show.
    pub(super) fn show(&self, page: Vec<u8>, troubles: &[&Fault]) {
        self.desk.change(troubles, |shown| (shown.page, shown.number) = (Arc::new(page), shown.number + 1));
    }

    /// Tells what is wrong; the page stays as it is.
    pub(super) fn tell_troubles(&self, troubles: &[&Fault]) {
        self.desk.change(troubles, |_| {});
    }

    /// Answers requests from now on.
    pub(super) fn start(&self) -> Result<(), Fault> {
        let cannot = |error: io::Error| Fault::of_file("", format!("the page cannot be served: {error}"), "try again");
        let (listener, desk) = (self.listener.try_clone().map_err(cannot)?, self.desk.clone());
        let serve = move || {
            for stream in listener.incoming().filter_map(Result::ok) {
                let desk = desk.clone();
                // If there can be no more threads, the connection is closed and the others go on.
                let _ = thread::Builder::new().name("reader".into()).spawn(move || desk.answer(stream));
            }
        };
        thread::Builder::new().name("page".into()).spawn(serve).map_err(cannot)?;
        Ok(())
    }
}

/// What nobody can guess, also not somebody else on this machine: 128 random bits.
fn secret() -> Result<String, Fault> {
    let mut bits = [0; 16];
    getrandom::fill(&mut bits).map_err(|error| {
        let help = "without an address that nobody can guess, anybody on this machine could read the page";
        Fault::of_file("", format!("the system gives no random numbers: {error}"), help)
    })?;
    Ok(format!("{:032x}", u128::from_be_bytes(bits)))
}

impl Desk {
    fn shown(&self) -> MutexGuard<'_, Shown> {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, troubles: &[&Fault], change: impl FnOnce(&mut Shown)) {
        let mut shown = self.shown();
        change(&mut shown);
        let news = News { page: shown.number, troubles: troubles.iter().map(|fault| trouble(fault)).collect() };
        shown.news = serde_json::to_string(&news).unwrap_or_default();
        shown.times += 1;
        self.changed.notify_all();
    }

    /// Answers one request. A reader that goes away is no fault.
    fn answer(&self, mut stream: TcpStream) {
        let is_one_too_many = {
            let mut shown = self.shown();
            shown.readers += 1;
            shown.readers > MOST_AT_ONCE
        };
        let _ = if is_one_too_many { refuse(&mut stream, TOO_MANY) } else { self.give(&mut stream) };
        self.shown().readers -= 1;
    }

    fn give(&self, stream: &mut TcpStream) -> io::Result<()> {
        stream.set_read_timeout(Some(PATIENCE))?;
        stream.set_write_timeout(Some(PATIENCE))?;
        match self.asked(stream)? {
            Asked::Page => {
                let page = self.shown().page.clone();
                write_head(stream, "200 OK", "text/html; charset=utf-8", Some(page.len()))?;
                stream.write_all(&page)
            }
            Asked::News => self.tell_news(stream),
            Asked::Refused(refusal) => refuse(stream, refusal),
        }
    }

    fn asked(&self, stream: &mut TcpStream) -> io::Result<Asked> {
        let (mut head, mut part) = (Vec::new(), [0; 1024]);
        loop {
            let read = stream.read(&mut part)?;
            if read == 0 {
                return Err(io::ErrorKind::UnexpectedEof.into());
            }
            head.extend_from_slice(&part[..read]);
            head.truncate(LONGEST_HEAD);
            if let Some(asked) = self.place.asked(&head) {
                return Ok(asked);
            }
        }
    }

    /// Tells what is shown now, and whatever is shown after that, as server-sent events (HTML Living Standard 9.2).
    fn tell_news(&self, stream: &mut TcpStream) -> io::Result<()> {
        write_head(stream, "200 OK", "text/event-stream", None)?;
        let mut sent = 0;
        loop {
            let news = {
                let shown = self.shown();
                let waited = self.changed.wait_timeout_while(shown, STILL_THERE, |shown| shown.times == sent);
                let (shown, _) = waited.unwrap_or_else(PoisonError::into_inner);
                if shown.times == sent { None } else { Some((shown.times, shown.news.clone())) }
            };
            match news {
                Some((number, news)) => {
                    sent = number;
                    write!(stream, "data: {news}\n\n")?;
                }
                None => stream.write_all(b": still there\n\n")?,
            }
            stream.flush()?;
        }
    }
}

fn trouble(fault: &Fault) -> Trouble {
    let line = fault.line_column().map(|at| format!(", line {}", at.line)).unwrap_or_default();
    Trouble {
        place: format!("{}{line}", fault.file),
        message: sentence(&fault.message),
        help: fault.help.as_deref().filter(|help| !help.is_empty()).map_or(String::new(), sentence),
    }
}

fn refuse(stream: &mut TcpStream, refusal: Refusal) -> io::Result<()> {
    write_head(stream, refusal.status, "text/plain; charset=utf-8", Some(refusal.words.len() + 1))?;
    writeln!(stream, "{}", refusal.words)
}

/// The head of an answer; `Allow` belongs to a refused method and harms no other answer.
fn write_head(stream: &mut TcpStream, status: &str, kind: &str, length: Option<usize>) -> io::Result<()> {
    let length = length.map_or(String::new(), |bytes| format!("Content-Length: {bytes}\r\n"));
    write!(
        stream,
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\n{length}Allow: GET\r\nConnection: close\r\nCache-Control: no-store\r\n\
         Content-Security-Policy: {POLICY}\r\nCross-Origin-Resource-Policy: same-origin\r\nReferrer-Policy: no-referrer\r\n\
         X-Content-Type-Options: nosniff\r\n\r\n"
    )
}
