//! The shop's own words for what the catalogue has codes for.

use std::collections::BTreeMap;
use std::path::Path;

use baywright_terms::catalogue::{Catalogue, UNSORTED};
use baywright_terms::code::{Code, nearest};

use super::sheet::squeezed;
use crate::error::Error;

/// Largest file of words; a shop has some dozens.
const FILE_BYTES_MAX: u64 = 256 * 1024;

/// Words with the codes that they stand for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Words(BTreeMap<String, String>);

impl Words {
    /// Reads `WORD=CODE` from the command line and, one a line, from a file.
    pub(super) fn read(typed: &[String], file: Option<&Path>) -> Result<Self, Error> {
        let mut words = Self::default();
        if let Some(path) = file {
            let size = std::fs::metadata(path)
                .map_err(|e| Error::file("Reading", path, &e))?
                .len();
            if size > FILE_BYTES_MAX {
                return Err(Error::refused(format!(
                    "{} is larger than a list of words can be.",
                    path.display()
                )));
            }
            let text =
                std::fs::read_to_string(path).map_err(|e| Error::file("Reading", path, &e))?;
            for (number, line) in (1..).zip(text.trim_start_matches('\u{feff}').lines()) {
                let line = line.trim();
                if line.is_empty() || line.starts_with('#') {
                    continue;
                }
                words.put(line).map_err(|e| {
                    Error::refused(format!("{}:{number}: {}", path.display(), e.message()))
                        .with_hint(e.hint().unwrap_or_default())
                })?;
            }
        }
        for line in typed {
            words.put(line)?;
        }
        Ok(words)
    }

    fn put(&mut self, line: &str) -> Result<(), Error> {
        let (word, code) = line
            .split_once('=')
            .map(|(word, code)| (key(word), code.trim().to_owned()))
            .filter(|(word, code)| !word.is_empty() && !code.is_empty())
            .ok_or_else(|| {
                Error::usage(format!("`{line}` gives no code for a word."))
                    .with_hint("Write it like Polieren=polish.")
            })?;
        self.0.insert(word, code);
        Ok(())
    }

    pub(super) fn job_type(&self, catalogue: &Catalogue, typed: &str) -> Option<String> {
        let entries = catalogue.job_types.iter().map(|(c, e)| (c, &*e.name));
        self.code(entries, typed)
            .or_else(|| (self.said(typed) == UNSORTED).then(|| UNSORTED.to_owned()))
    }

    pub(super) fn stage(&self, catalogue: &Catalogue, typed: &str) -> Option<String> {
        let entries = catalogue.stages.iter().map(|(c, e)| (c, &*e.name));
        self.code(entries, typed)
    }

    pub(super) fn product(&self, catalogue: &Catalogue, typed: &str) -> Option<String> {
        let entries = catalogue.products.iter().map(|(c, e)| (c, &*e.name));
        self.code(entries, typed)
    }

    pub(super) fn worker(&self, catalogue: &Catalogue, typed: &str) -> Option<String> {
        let entries = catalogue.workers.iter().map(|(c, e)| (c, &*e.name));
        self.code(entries, typed)
    }

    /// A class is the shop's own word; the catalogue has no list of them.
    pub(super) fn class(&self, typed: &str) -> String {
        slug(&self.said(typed))
    }

    /// What a word stands for, before the catalogue is asked.
    fn said(&self, typed: &str) -> String {
        let squeezed = squeezed(typed);
        self.0.get(&key(typed)).cloned().unwrap_or(squeezed)
    }

    /// The code, the name of its entry, or the name written as a code.
    fn code<'a>(
        &self,
        mut entries: impl Iterator<Item = (&'a Code, &'a str)> + Clone,
        typed: &str,
    ) -> Option<String> {
        let said = self.said(typed);
        let (lower, slug) = (said.to_lowercase(), slug(&said));
        let is_code = |(code, _): &(&Code, &str)| code.as_str() == lower || code.as_str() == slug;
        let is_name = |(_, name): &(&Code, &str)| squeezed(name).to_lowercase() == lower;
        entries
            .clone()
            .find(is_code)
            .or_else(|| entries.find(is_name))
            .map(|(code, _)| code.to_string())
    }
}

/// The known codes that come nearest, for a hint; and how to give one.
pub(super) fn how_to_name<'a>(typed: &str, known: impl Iterator<Item = &'a str> + Clone) -> String {
    let near = nearest(&slug(typed), known);
    let near = if near.is_empty() {
        String::new()
    } else {
        format!("Did you mean {}? ", near.join(" or "))
    };
    format!("{near}A word of yours is given its code by --codes \"{typed}=CODE\".")
}

fn key(word: &str) -> String {
    squeezed(word).to_lowercase()
}

/// A word as a code: `Iron Remover` as `iron-remover`.
fn slug(word: &str) -> String {
    let mut slug = String::with_capacity(word.len());
    for c in word.chars() {
        if c.is_alphanumeric() {
            slug.extend(c.to_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    slug.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use baywright_terms::catalogue::begin::{Answers, build};

    use super::*;

    #[test]
    fn a_word_is_a_code_a_name_or_what_the_shop_says_it_is() {
        let catalogue = build(&Answers::default());
        let (code, product) = catalogue.products.iter().next().unwrap();
        let words = Words::read(&[format!("Unser  Mittel={code}")], None).unwrap();
        let code = Some(code.to_string());
        let spaced = code.clone().unwrap().replace('-', " ").to_uppercase();
        for typed in [
            code.clone().unwrap(),
            product.name.to_uppercase(),
            spaced,
            "unser mittel".to_owned(),
        ] {
            assert_eq!(words.product(&catalogue, &typed), code, "{typed}");
        }
        assert_eq!(words.product(&catalogue, "something else"), None);
        assert_eq!(words.class("Small Van"), "small-van");
        assert_eq!(
            words.job_type(&catalogue, "Unsorted").as_deref(),
            None,
            "only as it is written"
        );
        assert_eq!(
            words.job_type(&catalogue, "unsorted").as_deref(),
            Some("unsorted")
        );
        assert!(Words::read(&["Polieren".to_owned()], None).is_err());
    }

    #[test]
    fn a_file_of_words_names_the_line_that_is_none() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("words.txt");
        std::fs::write(&file, "# ours\nPolieren = polish\n\nTrocknen\n").unwrap();
        let error = Words::read(&[], Some(&file)).unwrap_err();
        assert!(error.message().contains("words.txt:4:"), "{error}");
        std::fs::write(&file, "# ours\nPolieren = polish\n").unwrap();
        let words = Words::read(&[], Some(&file)).unwrap();
        assert_eq!(words.said(" polieren "), "polish");
    }
}
