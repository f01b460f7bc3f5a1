//! Delivery of grades that wait to a platform that answers at once. Each round begins with a store in which every pupil
//! has handed in while the platform took nothing.

use std::time::{Duration, Instant};

use anyhow::ensure;

use crate::bench::Bench;
use crate::client::{Lasting, Requests, expect_onward};
use crate::figures::{Figure, median, say};
use crate::platform::{completed, out_of_order};
use crate::process::busy;

/// Scores a second that are asked for.
const GOAL: f64 = 3_000.0;
/// How long a round may take.
const WITHIN: Duration = Duration::from_secs(120);

pub(crate) async fn measure(bench: &Bench) -> anyhow::Result<Vec<Figure>> {
    let prepared = bench.prepared().await?;
    let (school, pupils) = (&bench.school, prepared.ready.len());
    let store = school.copy(&prepared.store, "waiting.db")?;
    let submits: Requests = prepared.ready.iter().map(|ready| ready.submit.clone()).collect();
    school.platform.take_scores(false);
    let served = school.serve(&store).await;
    bench.load().measure(&submits, Lasting::Once, expect_onward).await?;
    served.end();
    school.platform.take_scores(true);
    let (mut rates, mut each, mut late) = (Vec::new(), Vec::new(), 0);
    for _ in 0..bench.arguments.rounds {
        let store = school.copy(&store, "deliver.db")?;
        school.platform.forget();
        let served = school.serve(&store).await;
        let until = Instant::now() + WITHIN;
        while school.platform.taken() < pupils {
            ensure!(Instant::now() < until, "{} of {pupils} grades in {WITHIN:?}", school.platform.taken());
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        school.told().await;
        each.push(busy(served.id())?.as_secs_f64() * 1e6 / pupils as f64);
        let (scores, took) = school.platform.scores();
        let all = [&prepared.begun[..], &scores].concat();
        late += out_of_order(&all);
        ensure!(completed(&all) == pupils, "{} of {pupils} pupils have a grade", completed(&all));
        rates.push(scores.len() as f64 / took.as_secs_f64());
    }
    let (rate, each) = (median(rates), median(each));
    say(&format!("delivery: {rate:.0} scores/s, busy {each:.0} us each"));
    Ok(vec![
        Figure::of("grades delivered a second", "3000 or more", format!("{rate:.0}"), rate >= GOAL),
        Figure::of("grades out of order of a pupil's", "none", format!("{late}"), late == 0),
    ])
}
