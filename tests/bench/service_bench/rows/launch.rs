//! Launches: login and launch of pupils who come for the first time, against a bare handler of actix-web that checks the
//! same tokens' signatures, by a key that was read once, and makes one insert that is on disk before the answer. The time
//! in which the platform signs lies between logins and launches and does not count.

use super::at_path;
use crate::bench::Bench;
use crate::client::expect_onward;
use crate::figures::{Figure, Ratio, Round, Watch, median, say, say_rounds};
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
        bench.warm(&prepared.ready).await?;
        let watch = Watch::over(served.id(), bench.school.steps().await?)?;
        let launched = bench.school.launch(&pupils, bench.arguments.connections).await?;
        let took = launched.logins.took + launched.launches.took;
        let round = watch.ended(&launched.launches, bench.school.steps().await?)?;
        let a_second = pupils.len() as f64 / took.as_secs_f64();
        // The client's time would be mostly the platform's, which signs meanwhile.
        both.push(Round { a_second, client_us: f64::NAN, ..round });
        logins.push(launched.logins.a_second());
        launches.push(launched.launches.a_second());
        drop(served);
        let requests = at_path("/verify", &launched.requests);
        limit.push(bench.limit(&bare, &requests, expect_onward).await?);
    }
    let ours = ("ours, login and launch (times: launch)", &both[..]);
    say_rounds("launches", &[ours, ("bare actix-web: RS256, durable insert", &limit)]);
    say(&format!("  logins alone {:.0}/s, launches alone {:.0}/s", median(logins), median(launches)));
    let share = Ratio::of(&both, &limit, |round| round.a_second);
    let name = "login and launch, of a bare check and insert";
    Ok(vec![Figure::of(name, "60 % or more", share.percent(), share.median >= GOAL)])
}
