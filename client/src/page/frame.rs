//! The frame of every page: head, landmarks, headings, contents.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::style;

/// One part of a page with a heading of its own.
#[derive(Debug)]
pub(super) struct Section {
    /// Unique on the page.
    pub id: &'static str,
    pub title: String,
    pub body: Markup,
}

impl Section {
    pub(super) fn new(id: &'static str, title: impl Into<String>, body: Markup) -> Self {
        Self {
            id,
            title: title.into(),
            body,
        }
    }
}

/// What a page is put together from.
#[derive(Debug)]
pub(super) struct Frame {
    /// For the window and the bookmark.
    pub title: String,
    /// Holds the one `h1`.
    pub head: Markup,
    pub sections: Vec<Section>,
    /// Small print.
    pub foot: Markup,
}

/// Fewer parts than this need no list of contents.
const CONTENTS_MIN: usize = 3;

/// Lets nothing be loaded from anywhere, whatever a text may hold.
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// What differs between pages for the shop and one for the customer.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    /// Words of the way past the head.
    pub skip: &'static str,
    /// Lists the parts where there are several.
    pub contents: bool,
    /// Rules below those of every page.
    pub rules: &'static str,
}

/// A page of figures, for the shop.
const FIGURES: Look = Look {
    skip: "Skip to the figures",
    contents: true,
    rules: "",
};

impl Frame {
    /// The page as one self-contained file.
    pub(super) fn into_html(self) -> String {
        self.into_html_as(FIGURES)
    }

    /// The same with a look of its own.
    pub(super) fn into_html_as(self, look: Look) -> String {
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta http-equiv="Content-Security-Policy" content=(POLICY);
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    meta name="robots" content="noindex";
                    title { (self.title) }
                    style { (PreEscaped(style::sheet())) (PreEscaped(look.rules)) }
                }
                body {
                    a.skip href="#main" { (look.skip) }
                    header { (self.head) }
                    @if look.contents && self.sections.len() >= CONTENTS_MIN {
                        nav aria-label="On this page" {
                            ul {
                                @for section in &self.sections {
                                    li { a href={ "#" (section.id) } { (section.title) } }
                                }
                            }
                        }
                    }
                    main #main tabindex="-1" {
                        @for section in &self.sections {
                            section aria-labelledby=(section.id) {
                                h2 id=(section.id) { (section.title) }
                                (section.body)
                            }
                        }
                    }
                    footer { (self.foot) }
                }
            }
        };
        page.into_string()
    }
}
