//! The story of a place as a page that one can send: the words, and the pictures of the place.

use base64::{Engine, engine::general_purpose::STANDARD};
use maud::{DOCTYPE, html};

use super::{
    html::{head, marked},
    story::{StoryReport, closing_words, paragraphs},
};
use crate::{explain::WhyHere, source::readable};

const STYLE: &str = "body{font:1rem/1.5 system-ui,sans-serif;max-width:46rem;margin:2rem auto;padding:0 1rem;\
                     color:#1c1f24;background:#faf9f6}h1{font-size:1.25rem}h2{font-size:1rem;margin:1.5rem 0 .25rem}\
                     p{margin:.35rem 0}code{font-size:.95em}figure{margin:1rem 0}\
                     figcaption{font-size:.9rem}figure img{background:#fff;max-width:100%}footer{margin-top:2rem;font-size:.9rem}\
                     @media(prefers-color-scheme:dark){body{color:#e6e3dc;background:#1b1d20}}";

/// In which tones the pictures are drawn.
fn tones_words(report: StoryReport<'_>) -> &'static str {
    match report.plan.display.ink.colours() {
        None => {
            "The white of this paper is drawn as full white, as the eye takes a panel that it is used to. Its black is no darker \
             than it is drawn here beside that white."
        }
        Some(_) => "The colours, white and black among them, are drawn as the display description gives them (`srgb`).",
    }
}

/// The page; `strip` are the bytes of the strip, a PNG.
pub fn story_page(report: StoryReport<'_>, strip: &[u8]) -> String {
    let mut parts = paragraphs(report);
    let (title, place) = if parts.is_empty() { Default::default() } else { parts.remove(0) };
    let alternative = "four pictures of the place: before, as meant, as seen, and the difference";
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(&readable(&title), STYLE))
            body {
                main {
                    h1 { (readable(&title)) }
                    @for line in &place { p { (marked(&readable(line))) } }
                    // No picture of the screen shows its border.
                    @if report.story.why_here != WhyHere::Border {
                        figure {
                            img src={ "data:image/png;base64," (STANDARD.encode(strip)) } alt=(alternative);
                            figcaption { (marked(tones_words(report))) }
                        }
                    }
                    @for (title, lines) in &parts {
                        h2 { (readable(title)) }
                        @for line in lines { p { (marked(&readable(line))) } }
                    }
                }
                footer { p { (closing_words(report)) } }
            }
        }
    }
    .into_string()
}
