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
    let static_pages = at_path("/page", &pages);
    let to_bare = Load { to: bare.address, ..bench.load() };
    let (mut ours, mut limit) = (Vec::new(), Vec::new());
    for round in 0..=bench.arguments.rounds {
        let lasting = Lasting::For(if round == 0 { WARMING } else { bench.arguments.lasting() });
        let watch = Watch::over(served.id(), bench.school.steps().await?)?;
        let measured = bench.load().measure(&pages, lasting, |page| expect_status(page, 200)).await?;
        ours.push(watch.ended(&measured, bench.school.steps().await?)?);
        let watch = Watch::over(bare.id(), 0.0)?;
        let measured = to_bare.measure(&static_pages, lasting, |page| expect_status(page, 200)).await?;
        limit.push(watch.ended(&measured, 0.0)?);
    }
    // The rounds in which both warmed up.
    (ours.remove(0), limit.remove(0));
    say_rounds("quiz page", &[("ours, SQLite", &ours), ("static page, bare actix-web", &limit)]);
    let share = ratio(&ours, &limit, |round| round.a_second);
    Ok(vec![Figure::of("quiz page, of a static page", "60 % or more", percent(share), share >= GOAL)])
}
