//! What was learned, how quotes held and what they promise, as messages.

use baywright_proto::v1;
use baywright_report::figures::{
    Ahead, AheadJob, AheadWeek, Honesty, HonestyJob, HonestyOf, HonestyPoint, Learned,
    LearnedGrade, LearnedProduct, LearnedSpread, LearnedStage, LearnedType, LookAgain, Portion,
    QuotesOfType,
};
use baywright_report::quote::{self, MODEL_VERSION, QuoteBook};
use baywright_terms::code::{Code, nearest};
use baywright_terms::time::Micros;

use super::quote::QuoteError;
use super::suggest::known;
use super::{Input, as_of};
use crate::facts::FactsError;
use crate::facts::reader::{FactsReader, View};
use crate::learner::{Known, Learner, Retraced};

impl FactsReader {
    /// What records say about allowances and prices.
    ///
    /// # Errors
    /// If the catalogue has no such type, or the database or the log fails.
    pub fn learned(
        &self,
        learner: &Learner,
        asked: &v1::LearnedRequest,
        now: Micros,
    ) -> Result<v1::LearnedResponse, QuoteError> {
        self.view_as_of(asked.as_of_seq, |view| {
            let now = as_of(view, asked.as_of_seq, now)?;
            let cats = view.catalogues();
            let only = Some(Code::new(asked.job_type.trim())).filter(|code| !code.is_empty());
            let types = &cats.at(now).catalogue.job_types;
            if let Some(code) = only.as_ref().filter(|code| !types.contains_key(*code)) {
                let near = nearest(code.as_str(), types.keys().map(Code::as_str));
                let hint = match near.as_slice() {
                    [] => String::new(),
                    near => format!("; did you mean {}?", near.join(" or ")),
                };
                let code = code.to_string();
                return Err(QuoteError::NoSuchType { code, hint });
            }
            let known = known(view, learner, asked.as_of_seq, now)?;
            let records = known.records.all();
            let figures = quote::learned(&known.learnt, records, &cats, now, only.as_ref());
            Ok(learned(&figures, &known))
        })
    }

    /// How past quotes held; with `retrace` also what would have been quoted.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn honesty(
        &self,
        learner: &Learner,
        asked: &v1::HonestyRequest,
        now: Micros,
    ) -> Result<v1::HonestyResponse, FactsError> {
        self.view_as_of(asked.as_of_seq, |view| {
            let now = as_of(view, asked.as_of_seq, now)?;
            let known = known(view, learner, asked.as_of_seq, now)?;
            let rows = view.rows_of_quotes()?;
            let book = QuoteBook::of(&rows);
            let records = known.records.all();
            let widen_milli = widen_milli(&known);
            let printed = quote::honesty(&book, records, now.saturating_add(1), widen_milli);
            let retrace = || {
                let cats = view.catalogues();
                honesty(&quote::retrace(&book, records, &cats, widen_milli))
            };
            let retraced = asked.retrace.then(|| match asked.as_of_seq {
                0 => learner.retraced(Retraced::of(&known, &rows), retrace),
                _ => retrace(),
            });
            Ok(v1::HonestyResponse {
                printed: Some(honesty(&printed)),
                retraced,
            })
        })
    }

    /// Hours promised in the two weeks that begin now.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn ahead(
        &self,
        asked: v1::AheadRequest,
        now: Micros,
    ) -> Result<v1::AheadResponse, FactsError> {
        self.view_as_of(asked.as_of_seq, |view| {
            let now = as_of(view, asked.as_of_seq, now)?;
            Ok(v1::AheadResponse {
                ahead: Some(ahead_of(view, now)?),
            })
        })
    }
}

/// The two weeks that begin at an instant.
fn ahead_of(view: &View<'_>, at: Micros) -> Result<v1::Ahead, FactsError> {
    let rows = view.rows_ahead(at)?;
    Ok(ahead(&quote::ahead(&rows, &view.catalogues(), at)))
}

/// How much ranges are widened, thousandths.
fn widen_milli(known: &Known) -> u32 {
    let milli = known.learnt.widen.factor * 1_000.0;
    // Clamped, so that the conversion loses nothing but the fraction.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and 1,000,000 after the clamp"
    )]
    let milli = milli.round().clamp(0.0, 1e6) as u32;
    milli
}

/// What the office adds to a week: quotes by how they ended, how they held,
/// prices to look at again, and, for a week that runs, the time ahead. Nothing
/// here knows of another instant than the week's, so that it comes out again.
pub(super) fn add_to_week(
    view: &View<'_>,
    known: &Known,
    input: &Input<'_>,
    week: &mut v1::Week,
) -> Result<(), FactsError> {
    let (from, until) = (Micros(week.from_us), Micros(week.until_us));
    let rows = view.rows_of_quotes()?;
    let records = known.records.all();
    let of_types = quote::week_quotes(&rows, from, until, input.as_of);
    week.quotes = of_types.iter().map(quotes_of_type).collect();
    let book = QuoteBook::of(&rows);
    let figures = quote::honesty(&book, records, until, widen_milli(known));
    week.honesty = (figures.jobs > 0).then(|| honesty(&figures));
    let again = quote::look_again(&known.learnt, records, input.catalogues, input.as_of);
    week.look_again = again.iter().map(look_again).collect();
    if from <= input.as_of && input.as_of < until {
        week.ahead = Some(ahead_of(view, input.as_of)?);
    }
    Ok(())
}

fn learned(learned: &Learned, known: &Known) -> v1::LearnedResponse {
    v1::LearnedResponse {
        currency: learned.currency.clone(),
        learned_up_to_seq: known.cursor_seq,
        jobs: learned.jobs,
        jobs_imported: learned.jobs_imported,
        types: learned.types.iter().map(job_type).collect(),
        grades: learned.grades.iter().map(grade).collect(),
        spreads: learned.spreads.iter().map(spread).collect(),
        widen_milli: learned.widen_milli,
        widened: learned.widened,
        look_again: learned.look_again.iter().map(look_again).collect(),
        remarks: learned.remarks.clone(),
        model_version: MODEL_VERSION.to_owned(),
    }
}

fn job_type(learned: &LearnedType) -> v1::LearnedType {
    v1::LearnedType {
        job_type: learned.job_type.to_string(),
        name: learned.name.clone(),
        jobs: learned.jobs,
        stages: learned.stages.iter().map(stage).collect(),
        products: learned.products.iter().map(product).collect(),
        hands_on_half_us: learned.hands_on_half_us,
        hands_on_p80_us: learned.hands_on_p80_us,
        cost_minor: learned.cost_minor,
        list_minor: learned.list_minor,
        trade_guess: learned.trade_guess,
    }
}

fn stage(stage: &LearnedStage) -> v1::LearnedStage {
    let drift = stage.drift.as_ref();
    v1::LearnedStage {
        stage: stage.stage.to_string(),
        allowance_us: stage.allowance_us,
        given_us: stage.given_us,
        half_us: stage.half_us,
        half_low_us: stage.half_low_us,
        half_high_us: stage.half_high_us,
        n: stage.n,
        drift_milli: drift.map_or(0, |drift| drift.milli),
        drift_low_milli: drift.map_or(0, |drift| drift.low_milli),
        drift_high_milli: drift.map_or(0, |drift| drift.high_milli),
        drifting: drift.is_some_and(|drift| drift.drifting),
        suggest: stage.suggest,
        trade_guess: stage.trade_guess,
    }
}

fn product(product: &LearnedProduct) -> v1::LearnedProduct {
    let unit = product.unit;
    let value = |base| Portion { unit, base }.value();
    v1::LearnedProduct {
        product: product.product.to_string(),
        unit: unit.as_str().to_owned(),
        allowance: value(product.allowance),
        given: value(product.given),
        half: value(product.half),
        half_low: value(product.half_low),
        half_high: value(product.half_high),
        n: product.n,
        suggest: product.suggest,
        trade_guess: product.trade_guess,
    }
}

fn grade(grade: &LearnedGrade) -> v1::LearnedGrade {
    v1::LearnedGrade {
        grade: grade.grade.to_owned(),
        acts_on: grade.acts_on.to_owned(),
        factor_milli: grade.factor_milli,
        factor_low_milli: grade.factor_low_milli,
        factor_high_milli: grade.factor_high_milli,
        trade_milli: grade.trade_milli,
    }
}

fn spread(spread: &LearnedSpread) -> v1::LearnedSpread {
    v1::LearnedSpread {
        what: spread.what.clone(),
        factor_milli: spread.factor_milli,
        factor_low_milli: spread.factor_low_milli,
        factor_high_milli: spread.factor_high_milli,
    }
}

fn look_again(again: &LookAgain) -> v1::LookAgain {
    v1::LookAgain {
        job_type: again.job_type.to_string(),
        list_minor: again.list_minor,
        cost_minor: again.cost_minor,
        margin_permille: again.margin_permille,
        target_margin_permille: i32::try_from(again.target_margin_permille).unwrap_or(i32::MAX),
        probability_permille: again.probability_permille,
        price_minor: again.price_minor,
        price_sure_minor: again.price_sure_minor,
        from_jobs: again.from_jobs,
        above: again.above,
    }
}

fn honesty(honesty: &Honesty) -> v1::Honesty {
    v1::Honesty {
        jobs: honesty.jobs,
        of: honesty.of.iter().map(honesty_of).collect(),
        by_job: honesty.by_job.iter().map(honesty_job).collect(),
        calibration: honesty.calibration.iter().map(point).collect(),
        widen_milli: honesty.widen_milli,
        remark: honesty.remark.clone(),
    }
}

fn honesty_of(of: &HonestyOf) -> v1::HonestyOf {
    v1::HonestyOf {
        what: of.what.to_owned(),
        bias_milli: of.bias_milli,
        half_held: of.half_held,
        p80_held: of.p80_held,
        of: of.of,
        p80_low_permille: of.p80_low_permille,
        p80_high_permille: of.p80_high_permille,
        pinball_half_h: of.pinball_half_h,
        pinball_p80_h: of.pinball_p80_h,
        crps_h: of.crps_h,
    }
}

fn honesty_job(job: &HonestyJob) -> v1::HonestyJob {
    v1::HonestyJob {
        job_number: job.number.unwrap_or(0),
        job_type: job.job_type.to_string(),
        actual_us: job.actual_us,
        half_us: job.half_us,
        p80_us: job.p80_us,
        allowance_us: job.allowance_us,
        last_five_us: job.last_five_us.unwrap_or(0),
    }
}

fn point(point: &HonestyPoint) -> v1::HonestyPoint {
    v1::HonestyPoint {
        promised_permille: point.promised_permille,
        held_permille: point.held_permille,
        held_low_permille: point.held_low_permille,
        held_high_permille: point.held_high_permille,
    }
}

fn ahead(ahead: &Ahead) -> v1::Ahead {
    v1::Ahead {
        from_us: ahead.from.0,
        weeks: ahead.weeks.iter().map(week).collect(),
        no_day_half_us: ahead.no_day_half_us,
        no_day_p80_us: ahead.no_day_p80_us,
        jobs: ahead.jobs.iter().map(job).collect(),
        quotes_open: ahead.quotes_open,
        quotes_open_half_us: ahead.quotes_open_half_us,
    }
}

fn week(week: &AheadWeek) -> v1::AheadWeek {
    v1::AheadWeek {
        week: week.week.clone(),
        from_us: week.from.0,
        until_us: week.until.0,
        worker_open_us: week.worker_open_us,
        bay_open_us: week.bay_open_us,
        promised_half_us: week.promised_half_us,
        promised_p80_us: week.promised_p80_us,
        promised_bay_half_us: week.promised_bay_half_us,
        promised_bay_p80_us: week.promised_bay_p80_us,
    }
}

fn job(job: &AheadJob) -> v1::AheadJob {
    v1::AheadJob {
        job_number: job.number.unwrap_or(0),
        job_type: job.job_type.to_string(),
        vehicle: job.vehicle.clone(),
        planned_date: job.planned_date.clone(),
        promised_half_us: job.promised_half_us,
        promised_p80_us: job.promised_p80_us,
        done_us: job.done_us,
        left_half_us: job.left_half_us,
        left_p80_us: job.left_p80_us,
    }
}

fn quotes_of_type(of_type: &QuotesOfType) -> v1::QuotesOfType {
    v1::QuotesOfType {
        job_type: of_type.job_type.to_string(),
        won: of_type.won,
        lost: of_type.lost,
        open: of_type.open,
        run_out: of_type.run_out,
        won_price_mean_minor: of_type.won_price_mean_minor,
        lost_price_mean_minor: of_type.lost_price_mean_minor,
        agreed_milli: of_type.agreed_milli,
        lost_why: of_type.lost_why.clone(),
    }
}
