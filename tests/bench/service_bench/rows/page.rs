//! A quiz page through session and store, against a static page of the same fields and bytes from bare actix-web.

use super::at_path;
use crate::bench::Bench;
use crate::client::{Lasting, Requests, expect_page};
use crate::figures::{Figure, Ratio, say_rounds};

/// The share of the limit that is asked for.
const GOAL: f64 = 0.6;

pub(crate) async fn measure(bench: &Bench) -> anyhow::Result<Vec<Figure>> {
    let prepared = bench.prepared().await?;
    let pages: Requests = prepared.ready.iter().map(|ready| ready.page.clone()).collect();
    let static_pages = at_path("/page", &pages);
    let served = bench.school.serve(&bench.school.copy(&prepared.store, "page.db")?).await;
    let bare = bench.bare().await?;
    bench.warm(&prepared.ready).await?;
    let lasting = Lasting::For(bench.arguments.lasting());
    let (mut ours, mut limit) = (Vec::new(), Vec::new());
    for _ in 0..bench.arguments.rounds {
        ours.push(bench.round(&served, bench.load(), &pages, lasting, expect_page).await?);
        limit.push(bench.limit(&bare, &static_pages, expect_page).await?);
    }
    say_rounds("quiz page", &[("ours, SQLite", &ours), ("static page, bare actix-web", &limit)]);
    let share = Ratio::of(&ours, &limit, |round| round.a_second);
    let reached = share.median >= GOAL;
    Ok(vec![Figure::of("quiz page, of a static page", "60 % or more", share.percent(), reached)])
}
