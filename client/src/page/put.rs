//! A finished page on its way to a file or to standard output.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use serde_json::json;

use crate::answer::Outcome;
use crate::error::Error;

/// The name that means standard output.
const STDOUT: &str = "-";

/// Writes the page whole or not at all, and says where it is.
pub fn page(html: &str, file: &Path) -> Result<Outcome, Error> {
    if file.as_os_str() == STDOUT {
        let json = json!({ "html": html });
        return Ok(Outcome::new(html, json).verbatim());
    }
    if file.is_dir() {
        return Err(
            Error::usage(format!("{} is a folder.", file.display())).with_hint(format!(
                "Name a file: --html {}",
                file.join("page.html").display()
            )),
        );
    }
    write_whole(file, html.as_bytes()).map_err(|e| Error::file("Writing", file, &e))?;
    let json = json!({ "page": { "file": file, "bytes": html.len() } });
    let text = format!("A page in {}: open it in any browser.", file.display());
    Ok(Outcome::new(text, json))
}

/// Writes beside the file and renames, so that nobody opens half a page, and
/// an old page is there until the new one is.
fn write_whole(file: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut name = file.as_os_str().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let part = PathBuf::from(name);
    let written = fs::File::create(&part).and_then(|mut out| {
        out.write_all(bytes)?;
        out.sync_all()?;
        fs::rename(&part, file)
    });
    if written.is_err() {
        // What is left of it is of no use to anyone.
        let _ = fs::remove_file(&part);
    }
    written
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Kind;

    #[test]
    fn a_page_replaces_the_old_one_and_leaves_nothing_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("week.html");
        page("<p>old", &file).unwrap();
        let outcome = page("<p>new", &file).unwrap();
        assert_eq!(fs::read_to_string(&file).unwrap(), "<p>new");
        assert_eq!(outcome.json["page"]["bytes"], 6);
        assert!(outcome.text.contains("week.html"));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_page_that_cannot_be_written_leaves_the_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let error = page("<p>", &folder.path().join("no/such/week.html")).unwrap_err();
        assert_eq!(error.kind(), Kind::Internal);
        let error = page("<p>", folder.path()).unwrap_err();
        assert_eq!(error.kind(), Kind::Usage);
        assert!(error.hint().is_some());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn a_dash_is_standard_output() {
        let outcome = page("<p>here", Path::new("-")).unwrap();
        assert_eq!(outcome.text, "<p>here");
        assert!(outcome.verbatim);
        assert_eq!(outcome.json["html"], "<p>here");
    }
}
