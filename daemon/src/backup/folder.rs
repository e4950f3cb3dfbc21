//! A folder of backups, the oldest of which go: for the timer of every night.

use std::path::{Path, PathBuf};

use baywright_terms::time::SECOND_US;

use super::make::{self, PART_ENDING, Progress};
use super::{BackupError, file::Checked};
use crate::journal::LogReader;

/// First and last part of the names; between them is the instant in UTC, so
/// that names in order are backups in order.
const NAME_START: &str = "baywright-";
const NAME_ENDING: &str = ".backup";

/// A name is looked for this many seconds ahead: nobody makes so many backups
/// in a minute.
const SECONDS_AHEAD_MAX: i64 = 60;

/// What became of a folder of backups.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    pub made: Checked,
    /// Older ones that went.
    pub removed: Vec<PathBuf>,
    /// Older ones that should have gone, and why they did not.
    pub stayed: Vec<(PathBuf, String)>,
}

/// Makes a backup in a folder and, once it is whole, removes all but the
/// latest `keep` of this log.
///
/// # Errors
/// As for [`make::make`]; nothing is removed then.
pub fn make_in(
    data_dir: &Path,
    dir: &Path,
    keep: usize,
    made_us: i64,
    progress: &mut dyn FnMut(Progress),
) -> Result<Kept, BackupError> {
    if !dir.is_dir() {
        return Err(BackupError::Target {
            dir: dir.to_owned(),
            why: "is no folder: make it first, on the disk that backups are for".to_owned(),
        });
    }
    remove_parts(dir);
    let file = free_name(dir, made_us)?;
    let made = make::make(data_dir, &file, false, made_us, progress)?;
    let mut kept = Kept {
        made,
        removed: Vec::new(),
        stayed: Vec::new(),
    };
    for path in older(dir, &kept.made)?
        .into_iter()
        .skip(keep.saturating_sub(1))
    {
        match std::fs::remove_file(&path) {
            Ok(()) => kept.removed.push(path),
            Err(error) => kept.stayed.push((path, error.to_string())),
        }
    }
    Ok(kept)
}

/// `baywright-2026-12-01T0330Z.backup`; where that is taken, with the seconds,
/// or those of the next free second.
fn free_name(dir: &Path, made_us: i64) -> Result<PathBuf, BackupError> {
    let target = |why: String| BackupError::Target {
        dir: dir.to_owned(),
        why,
    };
    let at = |us: i64| {
        jiff::Timestamp::from_microsecond(us)
            .map_err(|error| target(format!("this computer's clock gives no date ({error})")))
    };
    let named = |at: jiff::Timestamp, time: &str| {
        dir.join(format!("{NAME_START}{}{NAME_ENDING}", at.strftime(time)))
    };
    let short = named(at(made_us)?, "%Y-%m-%dT%H%MZ");
    if !short.exists() {
        return Ok(short);
    }
    for second in 0..SECONDS_AHEAD_MAX {
        let long = named(at(made_us + second * SECOND_US)?, "%Y-%m-%dT%H%M%SZ");
        if !long.exists() {
            return Ok(long);
        }
    }
    Err(target(
        "has a backup for each second of this minute".to_owned(),
    ))
}

/// The instant in a name of ours, so that it can be put in order.
fn instant(name: &str) -> Option<String> {
    let text = name.strip_prefix(NAME_START)?.strip_suffix(NAME_ENDING)?;
    let (day, time) = text.strip_suffix('Z')?.split_once('T')?;
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let is_day =
        day.len() == 10 && day.split('-').map(str::len).eq([4, 2, 2]) && day.split('-').all(digits);
    let is_time = matches!(time.len(), 4 | 6) && digits(time);
    // A minute without seconds comes first.
    (is_day && is_time).then(|| format!("{day}T{time:0<6}"))
}

/// The backups in a folder of the log that one was `made` of, but for that one,
/// the latest first: by how far their log goes, and by their name only where
/// that is the same. The clock of a server may be wrong for a while. Whatever
/// else is there is not ours to remove.
fn older(dir: &Path, made: &Checked) -> Result<Vec<PathBuf>, BackupError> {
    let listed = std::fs::read_dir(dir).map_err(BackupError::file("reading the folder", dir))?;
    let mut found: Vec<((u64, u64, String), PathBuf)> = Vec::new();
    for entry in listed {
        let entry = entry.map_err(BackupError::file("reading the folder", dir))?;
        let is_file = entry.file_type().is_ok_and(|kind| kind.is_file());
        let name = entry.file_name();
        let Some(instant) = name.to_str().and_then(instant).filter(|_| is_file) else {
            continue;
        };
        let path = entry.path();
        if path == made.path {
            continue;
        }
        let held = LogReader::open_file(&path).and_then(|log| Ok((log.meta()?, log.head_seq()?)));
        if let Ok((meta, head_seq)) = held
            && meta.log_id == made.meta.log_id
        {
            found.push(((meta.epoch, head_seq, instant), path));
        }
    }
    found.sort();
    found.reverse();
    Ok(found.into_iter().map(|(_, path)| path).collect())
}

/// Removes copies that a killed run left. One that is being written is locked,
/// and stays; so does what cannot be removed, which costs room and no more.
fn remove_parts(dir: &Path) {
    let Ok(listed) = std::fs::read_dir(dir) else {
        return;
    };
    for entry in listed.flatten() {
        let left_over = entry.file_name().to_str().is_some_and(is_part)
            && std::fs::File::open(entry.path()).is_ok_and(|file| file.try_lock().is_ok());
        if left_over {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Whether a name is that of a copy that was never finished.
fn is_part(name: &str) -> bool {
    name.strip_suffix(PART_ENDING)
        .is_some_and(|whole| instant(whole).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_that_this_made_are_taken_for_backups() {
        assert_eq!(
            instant("baywright-2026-12-01T0330Z.backup").as_deref(),
            Some("2026-12-01T033000")
        );
        assert_eq!(
            instant("baywright-2026-12-01T033015Z.backup").as_deref(),
            Some("2026-12-01T033015")
        );
        for other in [
            "baywright-2026-12-01T0330Z.backup.part",
            "baywright-before-the-move.backup",
            "baywright-2026-12-01.backup",
            "baywright-2026-12-1T0330Z.backup",
            "baywright-2026-12-01T03:30Z.backup",
            "log.db",
        ] {
            assert_eq!(instant(other), None, "{other}");
        }
        assert!(is_part("baywright-2026-12-01T0330Z.backup.part"));
        assert!(!is_part("baywright-2026-12-01T0330Z.backup"));
    }
}
