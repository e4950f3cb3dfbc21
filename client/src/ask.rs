//! Asking the person at the terminal, by one key.

use std::io::{Read as _, Write as _};

use rustix::termios::{LocalModes, OptionalActions, SpecialCodeIndex, tcgetattr, tcsetattr};

use crate::answer::plain;
use crate::error::Error;
use crate::screen::neutral;

/// Most choices of one question: digits are the keys.
pub const CHOICES_MAX: usize = 9;

/// Shows numbered choices on standard error and waits for one digit.
///
/// Gives the index of the choice; `None` for any other key. Only call where
/// [`crate::context::Context::can_ask`] says so.
pub fn digit(question: &str, choices: &[String]) -> Result<Option<usize>, Error> {
    let mut err = anstream::stderr().lock();
    let mut show = || -> std::io::Result<()> {
        for (number, choice) in (1..).zip(choices.iter().take(CHOICES_MAX)) {
            writeln!(err, "  {number}  {}", plain(choice))?;
        }
        write!(err, "{} ", neutral(question))?;
        err.flush()
    };
    show().map_err(|e| Error::internal(format!("The terminal cannot be written: {e}.")))?;
    let key = key();
    let _ = writeln!(err);
    let Some(key) = key? else {
        return Ok(None);
    };
    let picked = key
        .to_digit(10)
        .and_then(|d| usize::try_from(d).ok())
        .and_then(|d| d.checked_sub(1))
        .filter(|index| *index < choices.len().min(CHOICES_MAX));
    Ok(picked)
}

/// Asks for a line of text; empty where there is none.
pub fn line(question: &str) -> Result<String, Error> {
    let mut err = anstream::stderr().lock();
    let _ = write!(err, "{} ", neutral(question));
    let _ = err.flush();
    let mut text = String::new();
    std::io::stdin()
        .read_line(&mut text)
        .map_err(|e| Error::internal(format!("The terminal cannot be read: {e}.")))?;
    Ok(text.trim().to_owned())
}

/// One key, without Enter where the terminal can do that; `None` at the end of
/// the input.
pub fn key() -> Result<Option<char>, Error> {
    let failed =
        |e: &dyn std::fmt::Display| Error::internal(format!("The terminal cannot be read: {e}."));
    let stdin = std::io::stdin();
    let Ok(before) = tcgetattr(&stdin) else {
        return Ok(line("")?.chars().next());
    };
    let mut single = before.clone();
    single
        .local_modes
        .remove(LocalModes::ICANON | LocalModes::ECHO);
    single.special_codes[SpecialCodeIndex::VMIN] = 1;
    single.special_codes[SpecialCodeIndex::VTIME] = 0;
    tcsetattr(&stdin, OptionalActions::Now, &single).map_err(|e| failed(&e))?;
    let mut byte = [0];
    let read = stdin.lock().read(&mut byte);
    tcsetattr(&stdin, OptionalActions::Now, &before).map_err(|e| failed(&e))?;
    match read {
        Ok(1) => {
            eprint_key(byte[0]);
            Ok(Some(char::from(byte[0])))
        }
        Ok(_) => Ok(None),
        Err(e) => Err(failed(&e)),
    }
}

fn eprint_key(byte: u8) {
    if byte.is_ascii_graphic() {
        let _ = write!(anstream::stderr(), "{}", char::from(byte));
    }
}
