//! A fit and a quote at 2,000 jobs, timed and printed, never asserted: machines differ.

use std::time::Instant;

use baywright_report::quote::{Learnt, suggest};

use crate::invented::*;

#[test]
fn a_quote_out_of_two_thousand_jobs_is_timed() {
    let records = jobs(2_000, 41, 0.05, 0.2);
    let cats = catalogues(shop());
    let begun = Instant::now();
    let learnt = Learnt::of(&records, &cats, NOW);
    let fitted = begun.elapsed();
    for unseen in [false, true] {
        let mut asked = asking("saloon-coat");
        asked.unseen = unseen;
        let begun = Instant::now();
        let quote = suggest(&learnt, &records, &cats, &asked, NOW).unwrap();
        assert!(quote.from_jobs > 500);
        println!("unseen {unseen}: quoted in {:?}", begun.elapsed());
    }
    println!("2000 jobs: fitted in {fitted:?}, widen {:?}", learnt.widen);
}
