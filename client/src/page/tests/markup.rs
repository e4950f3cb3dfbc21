//! Reads a page of ours back into its elements, strictly: what it cannot read
//! is a failure. No more of HTML than a page uses.

use std::collections::BTreeMap;

/// Elements without an end, by the HTML standard (section 13.1.2, void elements).
const VOID: [&str; 2] = ["meta", "br"];

#[derive(Debug, Default, Clone)]
pub(super) struct Element {
    pub name: String,
    pub attributes: BTreeMap<String, String>,
    pub children: Vec<Element>,
    /// Its own text and that of all within, as a reader gets it.
    pub text: String,
}

impl Element {
    pub(super) fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.get(name).map(String::as_str)
    }

    /// All elements within, in the order of the page.
    pub(super) fn all(&self) -> Vec<&Element> {
        let mut found = Vec::new();
        for child in &self.children {
            found.push(child);
            found.extend(child.all());
        }
        found
    }

    pub(super) fn named(&self, name: &str) -> Vec<&Element> {
        let mut all = self.all();
        all.retain(|element| element.name == name);
        all
    }
}

/// The whole page as one element without a name.
pub(super) fn read(page: &str) -> Element {
    let mut open = vec![Element::default()];
    let mut rest = page;
    while let Some(at) = rest.find('<') {
        text(&mut open, &rest[..at]);
        let end = rest[at..].find('>').expect("a tag ends") + at;
        let tag = &rest[at + 1..end];
        rest = &rest[end + 1..];
        if tag.starts_with('!') {
            assert_eq!(tag, "!DOCTYPE html");
        } else if let Some(name) = tag.strip_prefix('/') {
            let element = open.pop().expect("something is open");
            assert_eq!(element.name, name, "an end that fits its begin");
            open.last_mut()
                .expect("the page is open")
                .children
                .push(element);
        } else {
            let element = begin(tag);
            if VOID.contains(&element.name.as_str()) {
                open.last_mut()
                    .expect("the page is open")
                    .children
                    .push(element);
            } else if element.name == "style" {
                // Holds no elements.
                let end = rest.find("</style>").expect("the style ends");
                let element = Element {
                    text: rest[..end].to_owned(),
                    ..element
                };
                open.last_mut()
                    .expect("the page is open")
                    .children
                    .push(element);
                rest = &rest[end + "</style>".len()..];
            } else {
                open.push(element);
            }
        }
    }
    assert_eq!(open.len(), 1, "every element ends");
    open.remove(0)
}

fn text(open: &mut [Element], raw: &str) {
    assert!(!raw.contains('>'), "a bare > in {raw:?}");
    let read = unescaped(raw);
    for element in open {
        element.text.push_str(&read);
    }
}

fn begin(tag: &str) -> Element {
    let (name, mut rest) = tag.split_once(' ').unwrap_or((tag, ""));
    let mut element = Element {
        name: name.to_owned(),
        ..Element::default()
    };
    while !rest.trim().is_empty() {
        rest = rest.trim_start();
        let (name, after) = rest.split_once("=\"").expect("an attribute with quotes");
        let (value, after) = after.split_once('"').expect("a quote that ends");
        assert!(
            name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'),
            "{name:?}"
        );
        let twice = element.attributes.insert(name.to_owned(), unescaped(value));
        assert!(twice.is_none(), "{name} twice in {tag:?}");
        rest = after;
    }
    element
}

fn unescaped(raw: &str) -> String {
    raw.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&amp;", "&")
}
