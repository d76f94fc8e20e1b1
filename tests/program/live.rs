//! `live` serves the page of a review on this machine: only under its own address, always the newest one, with what is wrong
//! on top, and without writing anything. Requests are written by hand, as RFC 9112 lays them out; how the page keeps the
//! place of somebody who looks at it is checked in a browser (`tests/page`).

use std::{
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::Path,
    time::Duration,
};

use serde_json::Value;

use crate::common::{Folder, SQUARE, WHITE};
use crate::staying::{PLAN, Staying};

/// A program that serves a page, and where.
struct Served {
    staying: Staying,
    port: u16,
    path: String,
}

/// An answer: its status and header fields, and what follows.
struct Answer {
    head: String,
    body: String,
}

impl Served {
    fn begin(folder: &Folder, arguments: &[&str]) -> Self {
        Self::of(Staying::begin(folder, &[&["live"], arguments].concat()))
    }

    fn of(staying: Staying) -> Self {
        let printed = staying.until(&["http://127.0.0.1:", "Ctrl-C ends"]);
        let address = printed.lines().find_map(|line| line.strip_prefix("http://127.0.0.1:")).unwrap();
        let (port, path) = address.split_once('/').unwrap();
        Self { staying, port: port.parse().unwrap(), path: format!("/{path}") }
    }

    fn send(&self, head: &str) -> TcpStream {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        stream.write_all(head.replace('\n', "\r\n").as_bytes()).unwrap();
        stream
    }

    fn answer(&self, head: &str) -> Answer {
        let mut all = String::new();
        self.send(head).read_to_string(&mut all).unwrap();
        let (head, body) = all.split_once("\r\n\r\n").unwrap_or_else(|| panic!("no answer to {head}: {all}"));
        Answer { head: head.to_owned(), body: body.to_owned() }
    }

    fn get(&self, path: &str) -> Answer {
        self.answer(&format!("GET {path} HTTP/1.1\nHost: 127.0.0.1:{}\n\n", self.port))
    }

    fn page(&self) -> String {
        let Answer { head, body } = self.get(&self.path);
        assert!(head.starts_with("HTTP/1.1 200 OK\r\n"), "{head}");
        assert!(head.contains(&format!("\r\nContent-Length: {}\r\n", body.len())), "{head}");
        body
    }

    /// What a page is told from now on.
    fn news(&self) -> News {
        let head = format!("GET {}news HTTP/1.1\nHost: localhost:{}\n\n", self.path, self.port);
        News(BufReader::new(self.send(&head)))
    }
}

struct News(BufReader<TcpStream>);

impl News {
    /// The next news: the number of the page, and what is wrong with files.
    fn next(&mut self) -> (u64, Vec<Value>) {
        let mut line = String::new();
        while !line.starts_with("data: ") {
            line.clear();
            assert!(self.0.read_line(&mut line).unwrap() > 0, "the server has ended");
        }
        let news: Value = serde_json::from_str(&line["data: ".len()..]).unwrap();
        (news["page"].as_u64().unwrap(), news["troubles"].as_array().unwrap().clone())
    }
}

/// All files below a folder with their content.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let entries = walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().map(Result::unwrap);
    let files = entries.filter(|entry| entry.file_type().is_file());
    files.map(|entry| (entry.path().display().to_string(), std::fs::read(entry.path()).unwrap())).collect()
}

fn folder() -> Folder {
    let folder = Folder::usual();
    folder.plan("tide.plan.json", &PLAN.replace("NAME", "tide"));
    folder.screen("tide-1.png", WHITE);
    folder.screen("tide-2.png", SQUARE);
    folder
}

#[test]
fn the_page_is_given_under_its_own_address_alone() {
    let folder = folder();
    let served = Served::begin(&folder, &[]);
    let page = served.page();
    assert!(page.contains("tide.plan.json") && page.contains("id=\"packed\""), "{page}");
    assert!(page.contains("Nothing") || page.contains("nothing was found"), "{page}");
    // 128 random bits; another server has others.
    assert_eq!(served.path.len(), "/".len() + 32 + "/".len(), "{}", served.path);
    assert_ne!(Served::begin(&folder, &[]).path, served.path);

    let (port, path) = (served.port, &served.path);
    let status = |head: String| served.answer(&head).head.lines().next().unwrap_or_default().to_owned();
    let host = format!("Host: 127.0.0.1:{port}");
    for (head, expected) in [
        (format!("GET / HTTP/1.1\n{host}\n\n"), "HTTP/1.1 404 Not Found"),
        (format!("GET /{}/ HTTP/1.1\n{host}\n\n", "0".repeat(32)), "HTTP/1.1 404 Not Found"),
        (format!("GET {path}tide.plan.json HTTP/1.1\n{host}\n\n"), "HTTP/1.1 404 Not Found"),
        (format!("GET {path}../../etc/passwd HTTP/1.1\n{host}\n\n"), "HTTP/1.1 404 Not Found"),
        (format!("POST {path} HTTP/1.1\n{host}\nContent-Length: 0\n\n"), "HTTP/1.1 405 Method Not Allowed"),
        (format!("DELETE {path}news HTTP/1.1\n{host}\n\n"), "HTTP/1.1 405 Method Not Allowed"),
        (format!("GET {path} HTTP/1.1\nHost: harbour.example:{port}\n\n"), "HTTP/1.1 421 Misdirected Request"),
        (format!("GET {path}news HTTP/1.1\nHost: harbour.example\n\n"), "HTTP/1.1 421 Misdirected Request"),
        (format!("GET {path} HTTP/1.1\n\n"), "HTTP/1.1 400 Bad Request"),
        ("no request at all\n\n".to_owned(), "HTTP/1.1 400 Bad Request"),
    ] {
        assert_eq!(status(head.clone()), expected, "{head}");
    }
    let refused = served.get("/");
    assert!(!refused.body.contains(served.path.trim_matches('/')), "a refusal does not give the path away");
    let given = served.get(path).head;
    for field in ["Cache-Control: no-store", "Referrer-Policy: no-referrer", "default-src 'none'", "connect-src 'self'"]
    {
        assert!(given.contains(field), "{field}: {given}");
    }
}

/// Loopback addresses other than the one that is listened on, and those of other machines, find nobody.
#[cfg(target_os = "linux")]
#[test]
fn nobody_listens_on_another_address() {
    let served = Served::begin(&folder(), &[]);
    assert!(TcpStream::connect(("127.0.0.1", served.port)).is_ok());
    for other in ["127.0.0.2", "::1"] {
        assert!(TcpStream::connect((other, served.port)).is_err(), "{other}");
    }
}

#[test]
fn what_is_saved_is_shown_and_what_is_broken_is_told() {
    let folder = folder();
    let served = Served::begin(&folder, &["."]);
    let mut news = served.news();
    let first = news.next();
    assert_eq!(first, (1, Vec::new()));
    // A square that reaches out of the window: part of it stays behind.
    folder.screen("tide-2.png", &SQUARE.replace("..####..........", "........######.."));
    assert_eq!(news.next(), (2, Vec::new()));
    let page = served.page();
    assert!(page.contains("data-page=\"2\"") && page.contains("left-behind"), "{page}");

    let plan = folder.read("tide.plan.json");
    folder.file("tide.plan.json", plan.replace("after_ms", "after_seconds"));
    let (number, troubles) = news.next();
    assert_eq!((number, troubles.len()), (3, 1), "{troubles:?}");
    let place = troubles[0]["place"].as_str().unwrap();
    assert!(place.starts_with("tide.plan.json, line ") && place.len() > "tide.plan.json, line ".len(), "{place}");
    assert!(troubles[0]["message"].as_str().unwrap().contains("after_seconds"), "{troubles:?}");
    let kept = served.page();
    assert!(
        kept.contains("left-behind") && !kept.contains("could not be read"),
        "what was there before stays:\n{kept}"
    );

    folder.file("tide.plan.json", plan);
    assert_eq!(news.next(), (4, Vec::new()));
    // A screen that is half written: the plan that shows it stays as it was.
    let screen = std::fs::read(folder.join("tide-2.png")).unwrap();
    folder.file("tide-2.png", &screen[..screen.len() / 2]);
    let (_, troubles) = news.next();
    assert!(troubles[0]["place"].as_str().unwrap().contains("tide"), "{troubles:?}");
    assert!(served.page().contains("left-behind"));
    folder.screen("tide-2.png", SQUARE);
    assert!(news.next().1.is_empty());
    assert!(!served.page().contains("left-behind"));

    // A new plan is shown too.
    folder.plan("ebb.plan.json", &PLAN.replace("NAME", "tide"));
    news.next();
    assert!(served.page().contains("ebb.plan.json"));
}

#[test]
fn nothing_is_written_and_a_port_can_be_chosen() {
    let (folder, temporary) = (folder(), Folder::new());
    let free = std::net::TcpListener::bind(("127.0.0.1", 0)).unwrap().local_addr().unwrap().port().to_string();
    let begun = files(folder.path());
    let mut command = folder.command(&["live", "--port", &free]);
    command.env("TMPDIR", temporary.path());
    let staying = Staying::of(command);
    staying.until(&[&format!("http://127.0.0.1:{free}/"), "Ctrl-C ends"]);
    assert_eq!(files(folder.path()), begun);
    folder.screen("tide-1.png", SQUARE);
    staying.until(&["tide-1.png changed: 1 of 1 plan reviewed again; the page is new after"]);
    folder.screen("tide-1.png", WHITE);
    staying.until(&["tide-1.png changed"]);
    assert_eq!(files(folder.path()), begun);
    assert_eq!(files(temporary.path()), Vec::new());

    let taken = folder.run(&["live", "--port", &free]).with_status(2);
    assert!(
        taken.error.contains("cannot be served on port") && taken.error.contains("leave out `--port`"),
        "{}",
        taken.error
    );
}

/// A plan from a stranger reads no more than a review lets it read.
#[test]
fn a_plan_that_climbs_out_of_its_folder_is_refused() {
    let folder = Folder::usual();
    folder.file("mine/panel.display.json", folder.read("panel.display.json"));
    folder.plan("mine/a.plan.json", r#"{ "steps": [{ "screen": "../square.png", "updates": [{ "mode": "full" }] }] }"#);
    let begin = |arguments: &[&str]| {
        let mut command = folder.command(&[&["live", "."], arguments].concat());
        command.current_dir(folder.join("mine"));
        Served::of(Staying::of(command))
    };
    let page = begin(&[]).page();
    assert!(page.contains("This plan could not be read.") && page.contains("--allow-outside"), "{page}");
    assert!(begin(&["--allow-outside"]).page().contains("1 step"));
}

#[cfg(unix)]
#[test]
fn it_ends_when_it_is_interrupted() {
    let folder = folder();
    let mut served = Served::begin(&folder, &[]);
    let _reader = served.news();
    assert_eq!(served.staying.interrupt().code(), Some(0));
}
