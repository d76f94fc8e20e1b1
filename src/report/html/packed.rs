//! The style and the script of the page, as small as they can stand in it.
//!
//! The script is packed: plain, it would be larger than most pages of small plans. Its files are plain ones in `script`; the
//! page unpacks them with what every browser brings. Knows texts, not what they do.

use std::io::{self, Write as _};

use flate2::{Compression, write::DeflateEncoder};

use super::dense_text::{DECODER, text_of};

const SCRIPT: [&str; 7] = [
    include_str!("script/address.js"),
    include_str!("script/film.js"),
    include_str!("script/panel.js"),
    include_str!("script/time.js"),
    include_str!("script/causes.js"),
    include_str!("script/here.js"),
    include_str!("script/page.js"),
];

/// What a page does in addition that a server keeps up to date.
const LIVE: &str = include_str!("script/live.js");

/// Unpacks the text and runs it.
const UNPACK: &str = "new Response(new Blob([bytesOf(document.getElementById(\"packed\").textContent)]).stream().pipeThrough(new DecompressionStream(\"deflate-raw\"))).text().then((text) => {
  document.body.append(Object.assign(document.createElement(\"script\"), { textContent: text }));
});";

/// The parts of the style: of every page, of several plans, of two plans compared, of the map of a flow, of a page that a server shows.
#[derive(Clone, Copy, Debug)]
pub(super) enum Style {
    Page,
    /// What the script makes: the panel, its time, and the story of a place.
    View,
    /// The list of several plans.
    Plans,
    Compared,
    Map,
    Live,
}

impl Style {
    /// The text, without indents and without blanks that separate nothing.
    pub(super) fn text(self) -> String {
        let text = lean(match self {
            Self::Page => include_str!("style/page.css"),
            Self::View => include_str!("style/view.css"),
            Self::Plans => include_str!("style/plans.css"),
            Self::Compared => include_str!("style/compared.css"),
            Self::Map => include_str!("style/map.css"),
            Self::Live => include_str!("style/live.css"),
        });
        let blanks =
            [(" {", "{"), ("{ ", "{"), ("; ", ";"), (": ", ":"), (", ", ","), (";}", "}"), (" }", "}"), (";}", "}")];
        blanks.into_iter().fold(text, |text, (with, without)| text.replace(with, without))
    }
}

/// The packed script, for a live page with what follows the server, and what unpacks it. The markup of the view and its
/// style come with the script, which alone uses them: packed, they take a third of the room.
///
/// # Errors
/// Where packing fails.
pub(super) fn script(is_live: bool, view: &str) -> io::Result<(String, String)> {
    let mut packer = DeflateEncoder::new(Vec::new(), Compression::best());
    let [view, style] = [view, &Style::View.text()].map(|text| serde_json::Value::from(text).to_string());
    writeln!(packer, "\"use strict\";const viewMarkup={view},viewStyle={style};")?;
    packer.write_all(lean(&SCRIPT.concat()).as_bytes())?;
    if is_live {
        packer.write_all(lean(LIVE).as_bytes())?;
    }
    Ok((text_of(&packer.finish()?), lean(&[DECODER, UNPACK].concat())))
}

/// A text without indents and without lines that are a comment.
fn lean(text: &str) -> String {
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with("//"));
    lines.collect::<Vec<_>>().join("\n")
}
