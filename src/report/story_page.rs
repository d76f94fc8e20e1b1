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
                     p{margin:.35rem 0}code{font-size:.95em}.place{margin:1rem 0;font-size:.9rem}\
                     .place>div{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,20rem),1fr));gap:1rem}\
                     figure{margin:0}.place img{background:#fff;max-width:100%;max-height:24rem;border:1px solid #9aa0a6}footer{margin-top:2rem;font-size:.9rem}\
                     @media(prefers-color-scheme:dark){body{color:#e6e3dc;background:#1b1d20}}";

/// In which tones the pictures are drawn.
fn tones_words(report: StoryReport<'_>) -> &'static str {
    match report.plan.display.ink.colours() {
        None => {
            "The white of this paper is drawn as full white, as the eye takes a panel that it is used to. Its black is drawn \
             only as dark as it looks beside that white."
        }
        Some(_) => "The colours, white and black among them, are drawn as the display description gives them (`srgb`).",
    }
}

/// The page; the pictures of the place are PNG files, each with what it is called.
pub fn story_page(report: StoryReport<'_>, pictures: &[(String, Vec<u8>)]) -> String {
    let mut parts = paragraphs(report);
    let (title, place) = if parts.is_empty() { Default::default() } else { parts.remove(0) };
    // What somebody asked comes first, and then what there is to see.
    let after = parts.split_off(usize::from(report.complaint.is_some()).min(parts.len()));
    let sections = |parts: &[(String, Vec<String>)]| {
        html! {
            @for (title, lines) in parts {
                h2 { (readable(title)) }
                @for line in lines { p { (marked(&readable(line))) } }
            }
        }
    };
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(&readable(&title), STYLE))
            body {
                main {
                    h1 { (readable(&title)) }
                    @for line in &place { p { (marked(&readable(line))) } }
                    (sections(&parts))
                    // No picture of the screen shows its border.
                    @if report.story.why_here != WhyHere::Border {
                        div.place {
                            div {
                                @for (title, picture) in pictures {
                                    figure {
                                        figcaption { (title) }
                                        img src={ "data:image/png;base64," (STANDARD.encode(picture)) } alt={ "the place, " (title) };
                                    }
                                }
                            }
                            p { (marked(tones_words(report))) }
                        }
                    }
                    (sections(&after))
                }
                footer { p { (closing_words(report)) } }
            }
        }
    }
    .into_string()
}
