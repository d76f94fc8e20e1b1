//! What a request asks for, by its head alone: the page, news of it, or something that is refused. Knows the address of the
//! page, not what is on it.

/// The longest head that is read, in bytes.
pub(super) const LONGEST_HEAD: usize = 8 << 10;
/// The most header fields that are read.
const MOST_FIELDS: usize = 64;

/// What somebody asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asked {
    Page,
    /// To learn whenever the page changes.
    News,
    Refused(Refusal),
}

/// Why nothing is given: the status of HTTP (RFC 9110), and a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Refusal {
    pub(super) status: &'static str,
    pub(super) words: &'static str,
}

const NOT_UNDERSTOOD: Refusal = Refusal { status: "400 Bad Request", words: "This request cannot be understood." };
const OTHER_HOST: Refusal = Refusal {
    status: "421 Misdirected Request",
    words: "This page is served only under the address that was printed.",
};
const OTHER_PATH: Refusal = Refusal { status: "404 Not Found", words: "There is nothing at this address." };
const OTHER_METHOD: Refusal = Refusal { status: "405 Method Not Allowed", words: "This page can only be read." };
const TOO_LONG: Refusal =
    Refusal { status: "431 Request Header Fields Too Large", words: "The head of this request is too long." };
/// Too many readers at once.
pub(super) const TOO_MANY: Refusal =
    Refusal { status: "503 Service Unavailable", words: "Too many windows show this page: close some of them." };

/// Where the page is.
#[derive(Clone, Debug)]
pub(super) struct Place {
    port: u16,
    /// The path that nobody can guess, with a slash at both ends.
    path: String,
}

impl Place {
    /// A page on a port, under a secret.
    pub(super) fn new(port: u16, secret: &str) -> Self {
        Self { port, path: format!("/{secret}/") }
    }

    /// What somebody opens.
    pub(super) fn address(&self) -> String {
        format!("http://127.0.0.1:{}{}", self.port, self.path)
    }

    /// What a request asks for; nothing as long as its head is incomplete.
    pub(super) fn asked(&self, head: &[u8]) -> Option<Asked> {
        let mut fields = [httparse::EMPTY_HEADER; MOST_FIELDS];
        let mut request = httparse::Request::new(&mut fields);
        match request.parse(head) {
            Ok(httparse::Status::Complete(_)) => Some(self.asked_by(&request)),
            Ok(httparse::Status::Partial) if head.len() < LONGEST_HEAD => None,
            Ok(httparse::Status::Partial) | Err(httparse::Error::TooManyHeaders) => Some(Asked::Refused(TOO_LONG)),
            Err(_) => Some(Asked::Refused(NOT_UNDERSTOOD)),
        }
    }

    fn asked_by(&self, request: &httparse::Request<'_, '_>) -> Asked {
        let mut hosts = request.headers.iter().filter(|field| field.name.eq_ignore_ascii_case("host"));
        let (Some(host), None) = (hosts.next(), hosts.next()) else { return Asked::Refused(NOT_UNDERSTOOD) };
        // A page elsewhere whose name leads to this machine must not read what stands here.
        if !self.is_own(host.value) {
            return Asked::Refused(OTHER_HOST);
        }
        let asked = match request.path.and_then(|path| path.strip_prefix(&self.path)) {
            Some("") => Asked::Page,
            Some("news") => Asked::News,
            _ => return Asked::Refused(OTHER_PATH),
        };
        if request.method == Some("GET") { asked } else { Asked::Refused(OTHER_METHOD) }
    }

    fn is_own(&self, host: &[u8]) -> bool {
        ["127.0.0.1", "localhost"]
            .iter()
            .any(|name| host.eq_ignore_ascii_case(format!("{name}:{}", self.port).as_bytes()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(head: &str) -> Option<Asked> {
        Place::new(4711, "quay").asked(head.as_bytes())
    }

    #[test]
    fn only_the_own_address_is_answered() {
        for (head, expected) in [
            ("GET /quay/ HTTP/1.1\r\nHost: 127.0.0.1:4711\r\n\r\n", Some(Asked::Page)),
            ("GET /quay/news HTTP/1.1\r\nhost: LocalHost:4711\r\nAccept: */*\r\n\r\n", Some(Asked::News)),
            ("GET /quay/ HTTP/1.1\r\nHost: 127.0.0.1:4711\r\n", None),
            ("GET /quay HTTP/1.1\r\nHost: localhost:4711\r\n\r\n", Some(Asked::Refused(OTHER_PATH))),
            ("GET /quay/../ HTTP/1.1\r\nHost: localhost:4711\r\n\r\n", Some(Asked::Refused(OTHER_PATH))),
            ("GET / HTTP/1.1\r\nHost: localhost:4711\r\n\r\n", Some(Asked::Refused(OTHER_PATH))),
            ("GET /quay/ HTTP/1.1\r\nHost: tide.example:4711\r\n\r\n", Some(Asked::Refused(OTHER_HOST))),
            ("GET /quay/ HTTP/1.1\r\nHost: localhost\r\n\r\n", Some(Asked::Refused(OTHER_HOST))),
            ("GET /quay/ HTTP/1.1\r\nHost: localhost:4712\r\n\r\n", Some(Asked::Refused(OTHER_HOST))),
            ("GET /quay/ HTTP/1.1\r\n\r\n", Some(Asked::Refused(NOT_UNDERSTOOD))),
            (
                "GET /quay/ HTTP/1.1\r\nHost: localhost:4711\r\nHost: tide.example\r\n\r\n",
                Some(Asked::Refused(NOT_UNDERSTOOD)),
            ),
            ("POST /quay/ HTTP/1.1\r\nHost: localhost:4711\r\n\r\n", Some(Asked::Refused(OTHER_METHOD))),
            ("HEAD /quay/ HTTP/1.1\r\nHost: localhost:4711\r\n\r\n", Some(Asked::Refused(OTHER_METHOD))),
            ("not HTTP\r\n\r\n", Some(Asked::Refused(NOT_UNDERSTOOD))),
        ] {
            assert_eq!(asked(head), expected, "{head}");
        }
    }

    #[test]
    fn a_head_without_end_is_refused() {
        let begin = "GET /quay/ HTTP/1.1\r\nHost: localhost:4711\r\nX: ";
        assert_eq!(asked(&format!("{begin}{}", "x".repeat(LONGEST_HEAD))), Some(Asked::Refused(TOO_LONG)));
        let fields = "a: b\r\n".repeat(MOST_FIELDS);
        assert_eq!(asked(&format!("{begin}\r\n{fields}\r\n")), Some(Asked::Refused(TOO_LONG)));
    }
}
