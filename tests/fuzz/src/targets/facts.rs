//! A log of any facts through the facts database, every figure asked of it,
//! and every way in which figures are shown.

use std::sync::{Arc, Mutex, PoisonError};

use baywright_client::commands::export;
use baywright_client::page;
use baywright_client::render;
use baywright_client::screen::neutral;
use baywright_daemon::facts::export::{Mark, Wanted};
use baywright_daemon::facts::reader::FactsReader;
use baywright_daemon::facts::{Facts, FactsError, LogSource, LogSources, SourceError, Stored};
use baywright_daemon::learner::Learner;
use baywright_proto::v1;
use baywright_terms::time::Micros;
use prost::Message as _;

use super::screen::{is_export_whole, is_page_safe};
use crate::Target;
use crate::food::{Food, NOW};
use crate::{made, scratch};

/// Facts of one input.
const FACTS_MAX: usize = 48;
/// Columns of the terminal that figures are laid out for.
const COLUMNS: usize = 80;

pub const FACTS: Target = Target {
    name: "facts",
    run: facts,
    words: &["\0\0", "\u{2}", "\u{4}\u{1}", "\u{1e}", "\u{1f}", " "],
    slower: 4_000,
    bytes_max: 2 * 1024,
};

/// A log in memory.
#[derive(Debug, Clone, Default)]
pub struct Log(Arc<Mutex<Vec<Stored>>>);

impl Log {
    fn entries<T>(&self, read: impl FnOnce(&[Stored]) -> T) -> T {
        read(&self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl LogSource for Log {
    fn identity(&mut self) -> Result<([u8; 16], u64), SourceError> {
        Ok(([1; 16], 1))
    }

    fn head(&mut self) -> Result<u64, SourceError> {
        Ok(u64::try_from(self.entries(<[Stored]>::len))?)
    }

    fn after(&mut self, seq: u64, at_most: usize) -> Result<Vec<Stored>, SourceError> {
        let from = usize::try_from(seq)?;
        Ok(self.entries(|all| all.iter().skip(from).take(at_most).cloned().collect()))
    }

    fn one(&mut self, seq: u64) -> Result<Option<Stored>, SourceError> {
        let at = usize::try_from(seq)?.checked_sub(1);
        Ok(self.entries(|all| at.and_then(|at| all.get(at)).cloned()))
    }
}

impl LogSources for Log {
    fn open(&self) -> Result<Box<dyn LogSource>, SourceError> {
        Ok(Box::new(self.clone()))
    }
}

fn facts(data: &[u8]) {
    let mut food = Food::new(data);
    let now = food.instant();
    let asked = Asked::of(&mut food);
    let stored: Vec<Stored> = made::records(&mut food, FACTS_MAX)
        .iter()
        .map(|record| Stored {
            seq: record.seq,
            record: record.encode_to_vec(),
        })
        .collect();
    let shown = shown(&stored, &asked, &[NOW, now]);
    assert!(shown.is_ok(), "{:?}", shown.err());
    shown.unwrap_or_default().check();
}

/// All that was shown of a log.
#[derive(Debug, Default)]
pub struct Shown {
    pub screens: Vec<String>,
    pub pages: Vec<String>,
    /// Form and text.
    pub exports: Vec<(&'static str, String)>,
}

impl Shown {
    /// Checks all of it.
    ///
    /// # Panics
    /// Where anything of it would steer what it is shown on.
    pub fn check(&self) {
        for screen in &self.screens {
            // The last gate must find nothing left to do.
            assert!(
                neutral(screen) == *screen,
                "would steer a terminal: {screen:?}"
            );
        }
        for page in &self.pages {
            assert!(is_page_safe(page), "would steer a browser: {page}");
        }
        for (form, export) in &self.exports {
            let whole = is_export_whole(form, export);
            assert!(whole.is_ok(), "{form}: {whole:?}\n{export}");
        }
    }
}

/// Folds a log and shows it in every way, as of some instants.
pub fn shown(stored: &[Stored], asked: &Asked, at: &[Micros]) -> Result<Shown, FactsError> {
    let folder = scratch::fresh()?;
    let mut shown = Shown::default();
    let done = fold_and_ask(&folder, stored, asked, at, &mut shown);
    scratch::gone(&folder);
    done.map(|()| shown)
}

/// What is asked beside the usual questions: anything the wire can hold.
#[derive(Debug, Default)]
pub struct Asked {
    week: v1::WeekRequest,
    seq: u64,
    product: String,
    suggest: v1::SuggestRequest,
}

impl Asked {
    fn of(food: &mut Food<'_>) -> Self {
        let date = |food: &mut Food<'_>| {
            food.text(&[
                "",
                "2026-11-23",
                "2026-12-31",
                "9999-12-31",
                "-9999-01-01",
                "soon",
            ])
        };
        let small = |food: &mut Food<'_>| u32::try_from(food.number()).unwrap_or(u32::MAX);
        let seq = u64::from(food.byte() % 40);
        Self {
            week: v1::WeekRequest {
                week: food.text(&["", "2026-W48", "2026-W53", "9999-W52", "0000-W01"]),
                as_of_seq: seq * u64::from(food.flag()),
                from_date: date(food),
                to_date: date(food),
                weeks: small(food),
                history_weeks: small(food),
            },
            seq,
            product: food.text(&["iron-remover", "coating-3y", "", "none"]),
            suggest: v1::SuggestRequest {
                asked: Some(v1::QuoteAsked {
                    job_type: food.text(&["trike-coat", "hatch-polish", "none"]),
                    grades: Some(v1::Grades {
                        soil: u32::from(food.byte() % 7),
                        defects: small(food),
                        intricacy: u32::from(food.byte() % 7),
                    }),
                    unseen: food.flag(),
                    like_job_number: u64::from(food.byte() % 4),
                    ..v1::QuoteAsked::default()
                }),
                seed: food.number().cast_unsigned(),
                ..v1::SuggestRequest::default()
            },
        }
    }
}

fn fold_and_ask(
    folder: &std::path::Path,
    stored: &[Stored],
    asked: &Asked,
    at: &[Micros],
    shown: &mut Shown,
) -> Result<(), FactsError> {
    let log = Log::default();
    let mut facts = Facts::open(folder, Box::new(log.clone()), &mut |_| {})?;
    for one in stored {
        log.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(one.clone());
        for answer in facts.absorb(std::slice::from_ref(one))? {
            for notice in &answer.notices {
                let line = baywright_client::say::notice_line(notice);
                shown.screens.push(line);
            }
        }
    }
    let cursor = facts.commit()?;
    assert_eq!(cursor, u64::try_from(stored.len()).unwrap_or(0));
    let anew = Facts::in_memory_as_of(Box::new(log.clone()), cursor)?;
    assert!(facts.hash()? == anew.hash()?, "a rebuild gives other rows");
    let reader = FactsReader::open(folder, Arc::new(log))?;
    let learner = Learner::default();
    for now in at {
        ask(&reader, &learner, asked, *now, shown)?;
        ask_office(&reader, &learner, asked, *now, shown)?;
    }
    Ok(())
}

fn ask(
    reader: &FactsReader,
    learner: &Learner,
    asked: &Asked,
    now: Micros,
    shown: &mut Shown,
) -> Result<(), FactsError> {
    let _ = reader.now("", now)?;
    for week in [&v1::WeekRequest::default(), &asked.week] {
        if let Ok(week) = reader.week(learner, week, now) {
            let how = render::week::Shown {
                stages: true,
                command: "bay week".to_owned(),
            };
            shown.screens.push(render::week::week(&week, &how, COLUMNS));
            shown.pages.push(page::week::page(&week, "bay week"));
        }
    }
    for number in 1..6 {
        let request = v1::JobRequest {
            job: Some(v1::job_request::Job::Number(number)),
            ..v1::JobRequest::default()
        };
        if let Ok(story) = reader.job(&request, now) {
            shown.screens.push(render::job::story(&story, &[], COLUMNS));
            shown.pages.push(page::job::page(&story));
        }
    }
    shown
        .screens
        .push(render::settle::list(&reader.odd(true, now)?, COLUMNS));
    let own = v1::OwnRequest {
        worker: "ana".to_owned(),
        week: Some(asked.week.clone()),
    };
    if let Ok(own) = reader.own(&own, now) {
        shown.screens.push(render::own::own(&own, COLUMNS));
    }
    for id in ["b1", "l1", "c1", "s1", "o1", "nothing"] {
        let request = v1::WhyRequest {
            week: None,
            id: id.to_owned(),
        };
        if let Ok(why) = reader.why(&request, now) {
            shown.screens.push(render::why::why(&why, COLUMNS));
        }
    }
    Ok(())
}

fn ask_office(
    reader: &FactsReader,
    learner: &Learner,
    asked: &Asked,
    now: Micros,
    shown: &mut Shown,
) -> Result<(), FactsError> {
    let stock = v1::StockRequest {
        product: asked.product.clone(),
    };
    shown
        .screens
        .push(render::stock::stock(&reader.stock(&stock, now)?, COLUMNS));
    for lot in made::HOSTILE {
        let lot = v1::LotRequest {
            lot: lot.to_owned(),
        };
        shown
            .screens
            .push(render::stock::lot(&reader.lot(&lot, now)?, COLUMNS));
    }
    let list = reader.quotes(&v1::ListQuotesRequest::default(), now)?;
    shown.screens.push(render::quote::list(
        &list,
        render::quote::Which::default(),
        COLUMNS,
    ));
    for number in 1..4 {
        let named = v1::QuoteRef {
            quote: Some(v1::quote_ref::Quote::Number(number)),
        };
        if let Ok(quote) = reader.quote(Some(&named), now) {
            shown
                .screens
                .push(render::quote::quote(&quote, &[], COLUMNS));
            shown.pages.push(page::quote::page(&quote, None));
        }
    }
    if let Ok(learned) = reader.learned(learner, &v1::LearnedRequest::default(), now) {
        shown
            .screens
            .push(render::learned::learned(&learned, None, COLUMNS));
    }
    let _ = reader.honesty(learner, &v1::HonestyRequest::default(), now)?;
    let _ = reader.ahead(v1::AheadRequest::default(), now)?;
    let _ = reader.suggest(learner, &asked.suggest, now);
    let wanted = Wanted {
        from: Micros(i64::MIN),
        until: Micros(i64::MAX),
        as_of: now,
    };
    let mut parts = Vec::new();
    reader.view_as_of(asked.seq, |view| -> Result<(), FactsError> {
        let mut mark = Mark::Start;
        while mark != Mark::End {
            let page = view.export_page(&wanted, &mark)?;
            assert!(page.mark != mark, "the export does not move on from {mark}");
            parts.extend(page.parts);
            mark = page.mark;
        }
        Ok(())
    })?;
    for form in export::FORMS {
        let written = export::written(form, &parts);
        assert!(written.is_ok(), "{form}: {written:?}");
        shown.exports.push((form, written.unwrap_or_default()));
    }
    Ok(())
}
