//! Read-only views for a person with SQL and a copy of `facts.db`: numbers of
//! jobs instead of ids, minutes and millilitres instead of micro and nano,
//! instants as text beside the exact ones. Nothing is stored for them, so they
//! cost nothing when a row is written. README has questions asked in them.
//!
//! They show what the fold has stored: a stage that still runs appears when it
//! ends. Instants that end in `_utc` are cut to the second. A rule that the
//! reports have too (what of a declaration counts, what rework is) is the one
//! of `report`, and a test holds the two together.

/// The views by name, in the order in which they are made.
pub(crate) const VIEWS: [(&str, &str); 15] = [
    ("v_job", JOB),
    ("v_stage", STAGE),
    ("v_declared", DECLARED),
    ("v_wait", WAIT),
    ("v_bay_stay", BAY_STAY),
    ("v_use", USE),
    ("v_mix", MIX),
    ("v_section", SECTION),
    ("v_air", AIR),
    ("v_flaw", FLAW),
    ("v_stock", STOCK),
    ("v_container", CONTAINER),
    ("v_odd", ODD),
    ("v_quote", QUOTE),
    ("v_past", PAST),
];

/// Makes all views.
pub(crate) fn ddl() -> String {
    VIEWS.iter().fold(String::new(), |sql, (name, select)| {
        // `utc(...)` is written out: a view may use no function of our own.
        sql + &format!("CREATE VIEW {name} AS {};\n", written_out(select))
    })
}

/// Replaces each `utc(column)` by the expression that makes text of it.
fn written_out(select: &str) -> String {
    let mut parts = select.split("utc(");
    let mut sql = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (column, rest) = part.split_once(')').unwrap_or((part, ""));
        sql.push_str("strftime('%Y-%m-%dT%H:%M:%SZ', ");
        sql.push_str(column);
        sql.push_str(" / 1000000, 'unixepoch')");
        sql.push_str(rest);
    }
    sql
}

/// `labour_min = hands_on_min + declared_min`, of all workers.
const JOB: &str = "
SELECT number AS job, handle, job_type, vehicle, vehicle_class,
  grade_soil, grade_defects, grade_intricacy,
  utc(opened_us) AS opened_utc, opened_us,
  utc(released_us) AS released_utc, released_us,
  max(released_us - opened_us, 0) / 6e7 AS cycle_min,
  hands_on_us / 6e7 + declared_us / 6e7 AS labour_min,
  hands_on_us / 6e7 AS hands_on_min,
  declared_us / 6e7 AS declared_min,
  CASE WHEN is_comeback THEN hands_on_us + declared_us ELSE again_us END / 6e7 AS rework_min,
  comeback_of, is_comeback, agreed_minor, seq, quote
FROM (SELECT j.number, j.handle, j.job_type, j.vehicle, j.vehicle_class,
  j.grade_soil, j.grade_defects, j.grade_intricacy, j.opened_us, j.agreed_minor, j.seq,
  (SELECT min(r.at_us) FROM release r WHERE r.job = j.job) AS released_us,
  (SELECT coalesce(sum(max(h.until_us - h.from_us, 0)), 0)
     FROM hands_on h WHERE h.job = j.job) AS hands_on_us,
  (SELECT coalesce(sum(max(h.until_us - h.from_us, 0)), 0)
     FROM hands_on h WHERE h.job = j.job AND h.rework = 1) AS again_us,
  (SELECT coalesce(sum(max(d.about_us, 0)), 0) FROM declared d
     WHERE d.job = j.job AND d.declaration = 'done-about'
     AND NOT EXISTS (SELECT 1 FROM hands_on h WHERE h.job = d.job AND h.stage = d.stage)
     AND NOT EXISTS (SELECT 1 FROM declared later WHERE later.job = d.job AND later.stage = d.stage
       AND (later.origin_us, later.origin_device, later.origin_seq, later.ordinal)
         > (d.origin_us, d.origin_device, d.origin_seq, d.ordinal))) AS declared_us,
  j.comeback_of IS NOT NULL AS is_comeback,
  (SELECT of.number FROM job of WHERE of.job = j.comeback_of) AS comeback_of,
  (SELECT n.number FROM quote_number n WHERE n.quote = j.quote) AS quote
  FROM job j)";

/// One worker on one stage without a break.
const STAGE: &str = "
SELECT j.number AS job, j.job_type, j.vehicle_class, h.stage, h.worker, h.bay,
  utc(h.from_us) AS from_utc, utc(h.until_us) AS until_utc, h.from_us, h.until_us,
  max(h.until_us - h.from_us, 0) / 6e7 AS hands_on_min,
  h.ended, h.rework, h.seq_from, h.seq_until
FROM hands_on h LEFT JOIN job j ON j.job = h.job";

/// What was stated at release for a stage; a later statement replaces it.
const DECLARED: &str = "
SELECT j.number AS job, j.job_type, d.stage, d.declaration, d.about_us / 6e7 AS about_min, d.seq
FROM declared d LEFT JOIN job j ON j.job = d.job";

/// Dwell, flash, lamp and cure; waits can overlap.
const WAIT: &str = "
SELECT j.number AS job, j.job_type, w.kind, w.product, w.panel,
  utc(w.from_us) AS from_utc, utc(w.until_us) AS until_utc, w.from_us, w.until_us,
  max(w.until_us - w.from_us, 0) / 6e7 AS waiting_min, w.seq_from, w.seq_until
FROM waiting w LEFT JOIN job j ON j.job = w.job";

/// `place` is a bay, `holding` or `away`.
const BAY_STAY: &str = "
SELECT j.number AS job, j.job_type, p.place,
  utc(p.from_us) AS from_utc, utc(p.until_us) AS until_utc, p.from_us, p.until_us,
  max(p.until_us - p.from_us, 0) / 6e7 AS stay_min, p.seq_from, p.seq_until
FROM presence p LEFT JOIN job j ON j.job = p.job";

/// `used_*` is of the mix where there is one; `concentrate_ml` is the share of
/// the product in it, and what was used where there is none. A weighed amount
/// stays in grams: densities are the catalogue's.
const USE: &str = "
SELECT j.number AS job, j.job_type, u.product, u.stage, u.bay,
  utc(u.at_us) AS at_utc, u.at_us,
  u.used_nl / 1e6 AS used_ml, u.used_ug / 1e6 AS used_g, u.used_milli_each / 1e3 AS used_each,
  u.mix IS NOT NULL AS from_mix,
  CASE WHEN u.mix IS NULL THEN u.used_nl / 1e6
    WHEN m.volume_nl > 0 THEN u.used_nl / 1e6 * m.concentrate_nl / m.volume_nl END AS concentrate_ml,
  u.lot, u.seq
FROM product_use u LEFT JOIN job j ON j.job = u.job LEFT JOIN mix_made m ON m.mix = u.mix";

/// Batches of diluted product, with what was poured away of each.
const MIX: &str = "
SELECT m.product, m.bay, utc(m.at_us) AS made_utc, m.at_us,
  m.volume_nl / 1e6 AS volume_ml, m.concentrate_nl / 1e6 AS concentrate_ml,
  (SELECT coalesce(sum(d.volume_nl), 0) / 1e6 FROM mix_dumped d WHERE d.mix = m.mix) AS dumped_ml,
  m.seq
FROM mix_made m";

/// A section that was coated: when it was first levelled, and its last result.
const SECTION: &str = "
SELECT j.number AS job, j.job_type, c.panel, c.section, c.finish, c.product, c.lot, c.layer,
  utc(c.at_us) AS coated_utc, c.at_us AS coated_us,
  (SELECT min(l.at_us) FROM levelled l WHERE l.job = c.job AND l.coated = c.event) AS levelled_us,
  ((SELECT min(l.at_us) FROM levelled l WHERE l.job = c.job AND l.coated = c.event) - c.at_us) / 6e7
    AS level_after_min,
  (SELECT l.result FROM levelled l WHERE l.job = c.job AND l.coated = c.event
    ORDER BY l.at_us DESC, l.seq DESC LIMIT 1) AS result,
  c.air_milli_c / 1e3 AS air_c, c.humidity_milli_pct / 1e3 AS humidity_pct,
  c.surface_milli_c / 1e3 AS surface_c, c.seq
FROM coated c LEFT JOIN job j ON j.job = c.job";

const AIR: &str = "
SELECT bay, utc(at_us) AS read_utc, at_us, air_milli_c / 1e3 AS air_c,
  humidity_milli_pct / 1e3 AS humidity_pct, surface_milli_c / 1e3 AS surface_c,
  sensor AS by_sensor, seq
FROM air";

/// `existing`: it was there when the vehicle came.
const FLAW: &str = "
SELECT j.number AS job, j.job_type, f.panel, f.flaw, f.existing,
  utc(f.at_us) AS found_utc, f.at_us AS found_us,
  (SELECT min(r.at_us) FROM flaw_remedied r WHERE r.job = f.job AND r.found = f.event) AS remedied_us,
  f.photo, f.seq
FROM flaw_found f LEFT JOIN job j ON j.job = f.job";

/// Received: so many packs of an amount. Counted: the amount that is there.
const STOCK: &str = "
SELECT product, kind, utc(at_us) AS at_utc, at_us, packs,
  amount_nl / 1e6 AS amount_ml, amount_ug / 1e6 AS amount_g, amount_milli_each / 1e3 AS amount_each,
  price_minor, lot, seq
FROM stock";

/// Bottles and cans opened, refilled and found empty.
const CONTAINER: &str = "
SELECT product, bay, kind, utc(at_us) AS at_utc, at_us,
  amount_nl / 1e6 AS amount_ml, amount_ug / 1e6 AS amount_g, amount_milli_each / 1e3 AS amount_each,
  lot, seq
FROM container";

/// What the owner was or is asked about; `bay settle` has the sentences.
const ODD: &str = "
SELECT n.seq, n.code, j.number AS job, n.bay, utc(n.at_us) AS at_utc, n.at_us, n.settled
FROM notice n LEFT JOIN job j ON j.job = n.job
WHERE n.severity = 'odd'";

/// A quote as it was printed last, with the customer's last answer. `answer`
/// is `accepted`, `declined` or, while nobody answered, NULL. `job` is the one it
/// opened, or the one it was made for while that was there.
const QUOTE: &str = "
SELECT n.number AS quote, q.asked ->> '$.job_type' AS job_type, q.asked ->> '$.vehicle' AS vehicle,
  q.asked ->> '$.vehicle_class' AS vehicle_class, q.asked ->> '$.customer' AS customer,
  q.asked ->> '$.grades.soil' AS grade_soil, q.asked ->> '$.grades.defects' AS grade_defects,
  q.asked ->> '$.grades.intricacy' AS grade_intricacy, q.asked ->> '$.unseen' AS unseen,
  utc(q.at_us) AS printed_utc, q.at_us AS printed_us,
  (SELECT count(*) FROM quote p WHERE p.quote = q.quote) AS prints,
  (q.printed ->> '$.hands_on_half_us') / 6e7 AS half_min,
  (q.printed ->> '$.hands_on_p80_us') / 6e7 AS p80_min,
  (q.printed ->> '$.bay_half_us') / 6e7 AS bay_half_min,
  q.printed ->> '$.cost_minor' AS cost_minor, q.printed ->> '$.price_minor' AS price_minor,
  q.printed ->> '$.trade_guess' AS trade_guess,
  CASE d.accepted WHEN 1 THEN 'accepted' WHEN 0 THEN 'declined' END AS answer,
  d.at_us AS answered_us, d.agreed_minor, d.reason,
  q.for_job IS NOT NULL AS is_addition,
  CASE WHEN q.for_job IS NOT NULL THEN (SELECT j.number FROM job j WHERE j.job = q.for_job)
    ELSE (SELECT j.number FROM job j WHERE j.quote = q.quote ORDER BY j.opened_us, j.seq LIMIT 1)
    END AS job,
  q.seq
FROM (SELECT *, (SELECT p.addition_to FROM quote p WHERE p.quote = o.quote
    AND p.addition_to IS NOT NULL ORDER BY p.at_us, p.seq LIMIT 1) AS for_job FROM quote o) q JOIN quote_number n ON n.quote = q.quote
LEFT JOIN quote_decided d ON d.quote = q.quote AND NOT EXISTS (SELECT 1 FROM quote_decided later
  WHERE later.quote = d.quote AND (later.at_us, later.seq) > (d.at_us, d.seq))
WHERE NOT EXISTS (SELECT 1 FROM quote later
    WHERE later.quote = q.quote AND (later.at_us, later.seq) > (q.at_us, q.seq))
  AND EXISTS (SELECT 1 FROM quote draft WHERE draft.quote = q.quote AND draft.revised = 0)";

/// A job from before the log. One that was recorded twice is here twice; it is
/// learned from once. `actual_min` is the whole job's, else the sum of its stages.
const PAST: &str = "
SELECT source, past ->> '$.date' AS date, past ->> '$.job_type' AS job_type,
  past ->> '$.vehicle' AS vehicle, past ->> '$.vehicle_class' AS vehicle_class,
  past ->> '$.grades.soil' AS grade_soil, past ->> '$.grades.defects' AS grade_defects,
  past ->> '$.grades.intricacy' AS grade_intricacy,
  json_array_length(past, '$.stages') AS stages,
  CASE WHEN (past ->> '$.actual_us') > 0 THEN past ->> '$.actual_us'
    ELSE (SELECT coalesce(sum(s.value ->> '$.actual_us'), 0) FROM json_each(past, '$.stages') s) END
    / 6e7 AS actual_min,
  past ->> '$.price_minor' AS price_minor, hex(key) AS key, seq
FROM past";
