//! A first catalogue out of about ten answers.
//!
//! The terminal asks ([`questions`]), [`answer`] reads and checks, [`build`]
//! fills the rest from common practice, each number marked by its kind of
//! source. Prices are left out: nobody can guess them for a shop.

mod build;
mod class;
mod product;
mod trade;

pub use build::build;
pub use class::{CLASSES, PanelShare, Step, VehicleClass};
pub use product::{PRODUCTS, ProductDefault, Usage};
pub use trade::{SERVICES, STAGES, Service, StageDefault};

use super::is_no_bay;
use crate::code::{self, Code, is_well_formed};
use crate::hours::OpenHours;

use super::UnitSystem;
use super::file::{text, value, week};
use super::limits::{CURE_DAYS_MAX, NAME_CHARS_MAX};
use crate::time::DAY_US;

/// Most bays or workers that one answer may name.
const NAMED_MAX: usize = 40;

/// One thing to ask.
#[derive(Debug)]
pub struct Question {
    pub key: &'static str,
    pub text: &'static str,
    /// Taken for an empty answer.
    pub default: &'static str,
    pub help: &'static str,
}

/// What to ask, in order.
pub const fn questions() -> &'static [Question] {
    &QUESTIONS
}

const QUESTIONS: [Question; 12] = [
    Question {
        key: "name",
        text: "What is the shop called?",
        default: "Our shop",
        help: "It heads the week and the customer's record.",
    },
    Question {
        key: "zone",
        text: "In which time zone is it?",
        default: "Europe/Lisbon",
        help: "An IANA name, like Europe/Lisbon or America/Chicago. Weeks and open hours follow it.",
    },
    Question {
        key: "currency",
        text: "In which currency are prices?",
        default: "EUR",
        help: "Three letters of ISO 4217. Prices are without tax.",
    },
    Question {
        key: "units",
        text: "Which fluid ounces and gallons: metric (none), us or imperial?",
        default: "metric",
        help: "What a bare floz or gal means here. mL and L always work.",
    },
    Question {
        key: "open",
        text: "When is it open?",
        default: "mon-fri 08:00-17:30",
        help: "Days and times; several with semicolons: mon-fri 08:00-17:30; sat 09:00-13:00.",
    },
    Question {
        key: "bays",
        text: "How many bays are there, or what are their codes?",
        default: "3",
        help: "A number gives bay-1, bay-2, …; or codes with commas: wash, polish, coat.",
    },
    Question {
        key: "workers",
        text: "Who works there?",
        default: "ana",
        help: "First names or short codes with commas. People type them at the bay.",
    },
    Question {
        key: "classes",
        text: "Which vehicles come in?",
        default: "hatch, saloon, suv",
        help: "Of: motorcycle, trike, hatch, saloon, suv, truck, boat, tractor.",
    },
    Question {
        key: "services",
        text: "Which services are sold?",
        default: "decon, polish, coat",
        help: "Of: wash, decon, polish, coat, correct. Each class gets a job type for each.",
    },
    Question {
        key: "coating",
        text: "What is the coating called?",
        default: "Paint coating",
        help: "Its code is made from it; write a second one into the file later.",
    },
    Question {
        key: "level",
        text: "When may it be levelled, by its label?",
        default: "unknown",
        help: "Like 3m to 5m. unknown takes the trade's wide window until the shop has its own records.",
    },
    Question {
        key: "cure",
        text: "When is it safe from water, and fully cured?",
        default: "24h, 7d",
        help: "Two times from the label. The default is common practice, not a label.",
    },
];

/// What was answered so far; the defaults until then.
#[derive(Debug, Clone, PartialEq)]
pub struct Answers {
    pub name: String,
    pub zone: String,
    pub currency: String,
    pub units: UnitSystem,
    pub open: Vec<OpenHours>,
    pub bays: Vec<Code>,
    /// Codes with the names as typed.
    pub workers: Vec<(Code, String)>,
    /// Codes of [`CLASSES`].
    pub classes: Vec<&'static str>,
    /// Codes of [`SERVICES`].
    pub services: Vec<&'static str>,
    pub coating: String,
    pub level_us: (Option<i64>, Option<i64>),
    pub water_safe_us: i64,
    pub full_cure_us: i64,
    /// False while the cure is the default.
    pub cure_from_label: bool,
}

impl Default for Answers {
    fn default() -> Self {
        let mut answers = Self {
            name: String::new(),
            zone: String::new(),
            currency: String::new(),
            units: UnitSystem::Metric,
            open: Vec::new(),
            bays: Vec::new(),
            workers: Vec::new(),
            classes: Vec::new(),
            services: Vec::new(),
            coating: String::new(),
            level_us: (None, None),
            water_safe_us: DAY_US,
            full_cure_us: 7 * DAY_US,
            cure_from_label: false,
        };
        for question in questions() {
            // A test answers every question with its default.
            let _ = answer(&mut answers, question.key, "");
        }
        answers
    }
}

/// Takes one answer; an empty one means the default.
///
/// # Errors
/// Why it cannot be read, as a sentence that says how to write it.
pub fn answer(answers: &mut Answers, key: &str, typed: &str) -> Result<(), String> {
    let Some(question) = QUESTIONS.iter().find(|q| q.key == key) else {
        return Err(format!("There is no question `{key}`."));
    };
    let typed = typed.trim();
    let given = if typed.is_empty() {
        question.default
    } else {
        typed
    };
    take(answers, question, given).map_err(|why| {
        let why = why.trim_end_matches('.');
        format!("{why}. {}", question.help)
    })
}

fn take(answers: &mut Answers, question: &Question, given: &str) -> Result<(), String> {
    match question.key {
        "name" => answers.name = words(given)?,
        "zone" => answers.zone = value::zone(given)?,
        "currency" => answers.currency = value::currency(&given.to_uppercase())?,
        "units" => answers.units = units(given)?,
        "open" => answers.open = open(given)?,
        "bays" => answers.bays = bays(given)?,
        "workers" => answers.workers = workers(given)?,
        "classes" => {
            answers.classes = chosen(given, &CLASSES.map(|c| c.code), "kind of vehicle")?;
        }
        "services" => {
            answers.services = chosen(given, &SERVICES.map(|s| s.code), "service")?;
        }
        "coating" => answers.coating = words(given)?,
        "level" if given == question.default => answers.level_us = (None, None),
        "level" => answers.level_us = value::range(given, value::span)?,
        _ => {
            (answers.water_safe_us, answers.full_cure_us) = cure(given)?;
            answers.cure_from_label = given != question.default;
        }
    }
    Ok(())
}

fn words(given: &str) -> Result<String, String> {
    if given.chars().any(char::is_control) || given.chars().count() > NAME_CHARS_MAX {
        return Err(format!("At most {NAME_CHARS_MAX} plain characters"));
    }
    Ok(given.to_owned())
}

fn units(given: &str) -> Result<UnitSystem, String> {
    text::UNIT_SYSTEMS
        .iter()
        .find(|(word, _)| *word == given.to_lowercase())
        .map(|(_, system)| *system)
        .ok_or_else(|| format!("`{given}` is not one of metric, us, imperial"))
}

fn open(given: &str) -> Result<Vec<OpenHours>, String> {
    let mut hours = Vec::new();
    for line in given.split(';') {
        hours.extend(week::parse(line)?);
    }
    week::sort(&mut hours);
    if week::overlap(&hours).is_some() {
        return Err("Two of these overlap".to_owned());
    }
    Ok(hours)
}

fn parts(given: &str) -> Result<Vec<&str>, String> {
    let parts: Vec<&str> = given
        .split(',')
        .map(str::trim)
        .filter(|p| !p.is_empty())
        .collect();
    match parts.len() {
        0 => Err("At least one is needed".to_owned()),
        1..=NAMED_MAX => Ok(parts),
        more => Err(format!(
            "{more} are too many for one answer, at most {NAMED_MAX}"
        )),
    }
}

fn bays(given: &str) -> Result<Vec<Code>, String> {
    if let Ok(count) = given.parse::<usize>() {
        if !(1..=NAMED_MAX).contains(&count) {
            return Err(format!("From 1 to {NAMED_MAX} bays"));
        }
        return Ok((1..=count)
            .map(|n| Code::new(&format!("bay-{n}")))
            .collect());
    }
    let mut codes = Vec::new();
    for part in parts(given)? {
        let code = part.to_lowercase();
        if !is_well_formed(&code) || is_no_bay(&code) {
            return Err(format!("`{part}` cannot be the code of a bay"));
        }
        let code = Code::new(&code);
        if codes.contains(&code) {
            return Err(format!("`{code}` stands there twice"));
        }
        codes.push(code);
    }
    Ok(codes)
}

fn workers(given: &str) -> Result<Vec<(Code, String)>, String> {
    let mut found: Vec<(Code, String)> = Vec::new();
    for part in parts(given)? {
        let code = code_from_words(part)
            .ok_or_else(|| format!("`{part}` has no letter or digit to make a code from"))?;
        if found.iter().any(|(c, _)| *c == code) {
            return Err(format!(
                "`{code}` stands there twice; give one of them another code"
            ));
        }
        found.push((code, words(part)?));
    }
    Ok(found)
}

/// A code made from words: `Ana Luísa` gives `ana-lu-sa`. Letters that a code
/// cannot hold part the words.
fn code_from_words(words: &str) -> Option<Code> {
    let lower = words.to_lowercase();
    let joined = lower
        .split(|c: char| !(c.is_ascii_lowercase() || c.is_ascii_digit()))
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-");
    let cut: String = joined.chars().take(code::CODE_CHARS_MAX).collect();
    let cut = cut.trim_end_matches('-');
    is_well_formed(cut).then(|| Code::new(cut))
}

fn chosen(given: &str, known: &[&'static str], what: &str) -> Result<Vec<&'static str>, String> {
    let mut found = Vec::new();
    for part in parts(given)? {
        match code::resolve(part, known.iter().copied()).code() {
            Some(code) if !found.contains(&code) => found.push(code),
            Some(_) => {}
            None => {
                let near = code::nearest(part, known.iter().copied());
                let near = near
                    .first()
                    .map_or(String::new(), |n| format!(", did you mean {n}?"));
                return Err(format!("There is no {what} `{part}`{near}"));
            }
        }
    }
    Ok(found)
}

fn cure(given: &str) -> Result<(i64, i64), String> {
    let (safe, full) = given
        .split_once(',')
        .ok_or_else(|| format!("`{given}` is not two times with a comma between them"))?;
    let (safe, full) = (value::span(safe.trim())?, value::span(full.trim())?);
    if safe > full {
        return Err("Safe from water comes before full cure".to_owned());
    }
    if full > CURE_DAYS_MAX * DAY_US {
        return Err(format!("A cure is at most {CURE_DAYS_MAX} days"));
    }
    Ok((safe, full))
}

#[cfg(test)]
mod tests;
