//! Launches: login and launch of pupils who come for the first time, against a bare handler of actix-web that checks the
//! same tokens' signatures, by a key that was read once, and makes one insert that is on disk before the answer. The time
//! in which the platform signs lies between logins and launches and does not count.

use super::{at_path, percent};
use crate::bench::Bench;
use crate::client::{Lasting, Load, expect_status};
use crate::figures::{Figure, Round, Watch, median, ratio, say, say_rounds};
use crate::platform::Pupil;

/// The share of the limit that is asked for.
const GOAL: f64 = 0.6;

pub(crate) async fn measure(bench: &Bench) -> anyhow::Result<Vec<Figure>> {
    let prepared = bench.prepared().await?;
    let bare = bench.bare().await?;
    let (mut both, mut logins, mut launches, mut limit) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for _ in 0..bench.arguments.rounds {
        let served = bench.school.serve(&bench.school.copy(&prepared.store, "launch.db")?).await;
        let first = prepared.ready.len();
        let pupils: Vec<Pupil> = (first..first + bench.arguments.launches).map(Pupil::numbered).collect();
        let watch = Watch::over(served.id(), bench.school.steps().await?)?;
        let launched = bench.school.launch(&pupils, bench.arguments.connections).await?;
        let took = launched.logins.took + launched.launches.took;
        let round = watch.ended(&launched.launches, bench.school.steps().await?)?;
        both.push(Round { a_second: pupils.len() as f64 / took.as_secs_f64(), ..round });
        logins.push(launched.logins.a_second());
        launches.push(launched.launches.a_second());
        drop(served);
        let watch = Watch::over(bare.id(), 0.0)?;
        let (load, lasting) = (Load { to: bare.address, ..bench.load() }, bench.arguments.lasting());
        let requests = at_path("/verify", &launched.requests);
        let measured =
            load.measure(&requests, Lasting::For(lasting), |answer| expect_status(answer, 303)).await?;
        limit.push(watch.ended(&measured, measured.answers as f64)?);
    }
    let ours = ("ours, login and launch (times: launch)", &both[..]);
    say_rounds("launches", &[ours, ("bare actix-web: RS256, durable insert", &limit)]);
    say(&format!("  logins alone {:.0}/s, launches alone {:.0}/s", median(logins), median(launches)));
    let share = ratio(&both, &limit, |round| round.a_second);
    Ok(vec![Figure::of(
        "login and launch, of a bare check and insert",
        "60 % or more",
        percent(share),
        share >= GOAL,
    )])
}
