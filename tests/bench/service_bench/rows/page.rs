//! A quiz page through session and store, against a static page of the same fields and bytes from bare actix-web.

use super::{WARMING, at_path, percent};
use crate::bench::Bench;
use crate::client::{Lasting, Load, Requests, expect_status};
use crate::figures::{Figure, Watch, ratio, say_rounds};

/// The share of the limit that is asked for.
const GOAL: f64 = 0.6;

pub(crate) async fn measure(bench: &Bench) -> anyhow::Result<Vec<Figure>> {
    let prepared = bench.prepared().await?;
    let pages: Requests = prepared.ready.iter().map(|ready| ready.page.clone()).collect();
    let served = bench.school.serve(&bench.school.copy(&prepared.store, "page.db")?).await;
    let bare = bench.bare().await?;
    let sides = [
        (served.id(), bench.load(), pages.clone()),
        (bare.id(), Load { to: bare.address, ..bench.load() }, at_path("/page", &pages)),
    ];
    let (mut ours, mut limit) = (Vec::new(), Vec::new());
    for round in 0..=bench.arguments.rounds {
        for ((server, load, requests), rounds) in sides.iter().zip([&mut ours, &mut limit]) {
            let lasting = Lasting::For(if round == 0 { WARMING } else { bench.arguments.lasting() });
            let watch = Watch::over(*server)?;
            let measured = load.measure(requests, lasting, |page| expect_status(page, 200)).await?;
            if round > 0 {
                rounds.push(watch.ended(&measured)?);
            }
        }
    }
    say_rounds("quiz page", &[("ours, SQLite", &ours), ("static page, bare actix-web", &limit)]);
    let share = ratio(&ours, &limit, |round| round.a_second);
    Ok(vec![Figure::of("quiz page, of a static page", "60 % or more", percent(share), share >= GOAL)])
}
