//! What rows share: the arguments, the school, and a store with pupils who have an open attempt.

use std::time::Instant;

use anyhow::ensure;
use conformance::program::Served;
use tokio::net::TcpStream;
use tokio::sync::OnceCell;

use crate::Arguments;
use crate::bare::{Answers, Bare, Recorded};
use crate::client::{Lasting, Load, Requests, expect_page, expect_status};
use crate::figures::{Round, Watch, say};
use crate::message::{Message, Messages};
use crate::platform::{PUPILS_A_CLASS, Pupil, Score};
use crate::school::{Ready, School};

/// The measuring.
pub(crate) struct Bench {
    pub(crate) arguments: Arguments,
    pub(crate) school: School,
    prepared: OnceCell<Prepared>,
}

/// A store whose pupils have begun an attempt, which the platform knows.
pub(crate) struct Prepared {
    pub(crate) store: String,
    pub(crate) ready: Vec<Ready>,
    /// What the platform heard of their beginnings.
    pub(crate) begun: Vec<Score>,
    answers: Answers,
}

impl Bench {
    pub(crate) fn new(arguments: Arguments) -> anyhow::Result<Self> {
        let school = School::open(arguments.questions)?;
        Ok(Self { arguments, school, prepared: OnceCell::new() })
    }

    /// The usual load on the service.
    pub(crate) fn load(&self) -> Load {
        Load { to: self.school.address(), connections: self.arguments.connections }
    }

    /// Pupils launch and begin an attempt, and the platform hears of it; once for all rows.
    pub(crate) async fn prepared(&self) -> anyhow::Result<&Prepared> {
        self.prepared.get_or_try_init(|| self.prepare()).await
    }

    async fn prepare(&self) -> anyhow::Result<Prepared> {
        let store = self.school.store("prepared.db");
        let ready = self.begin_all(&store, self.arguments.pupils).await?;
        let (begun, _) = self.school.platform.scores();
        let answers = self.record(&self.school.copy(&store, "recorded.db")?, &ready[0]).await?;
        Ok(Prepared { store, ready, begun, answers })
    }

    /// Fills a new store: so many pupils launch and begin an attempt, and the platform hears of it.
    pub(crate) async fn begin_all(&self, store: &str, count: usize) -> anyhow::Result<Vec<Ready>> {
        let school = &self.school;
        let began = Instant::now();
        school.set_up(store);
        school.platform.take_scores(true);
        school.platform.forget();
        let served = school.serve(store).await;
        let pupils: Vec<Pupil> = (0..count).map(Pupil::numbered).collect();
        let launched = school.launch(&pupils, self.arguments.connections).await?;
        let ready = school.begin(&launched.sessions).await?;
        school.told().await;
        let heard = school.platform.taken();
        ensure!(heard == count, "the platform heard of {heard} beginnings of {count}");
        // In good order, so that a file holds all of its store.
        served.end();
        let questions = self.arguments.questions;
        say(&format!("{count} pupils have begun {questions} questions each, within {:.0?}", began.elapsed()));
        Ok(ready)
    }

    /// What the service answers, for the bare server to answer the same.
    async fn record(&self, store: &str, ready: &Ready) -> anyhow::Result<Answers> {
        let _served = self.school.serve(store).await;
        let mut connection = Messages::on(TcpStream::connect(self.school.address()).await?);
        let mut recorded = Vec::new();
        for (request, status) in [(&ready.page, 200), (&ready.submit, 303)] {
            connection.send(request).await?;
            let answer = connection.next().await?;
            let answer = answer.ok_or_else(|| anyhow::anyhow!("the service ended the connection"))?;
            expect_status(answer, status)?;
            recorded.push(Recorded::of(answer)?);
        }
        let [page, insert] = <[Recorded; 2]>::try_from(recorded).expect("two requests have two answers");
        say(&format!("a page has {} bytes", page.length()));
        Ok(Answers { page, insert, key_set: serde_json::from_str(self.school.platform.key_set())? })
    }

    /// A round of these requests at the service.
    pub(crate) async fn round(
        &self,
        served: &Served,
        load: Load,
        requests: &Requests,
        lasting: Lasting,
        read: fn(Message<'_>) -> anyhow::Result<()>,
    ) -> anyhow::Result<Round> {
        let watch = Watch::over(served.id(), self.school.steps().await?)?;
        let measured = load.measure(requests, lasting, read).await?;
        watch.ended(&measured, self.school.steps().await?)
    }

    /// A round of these requests at the bare server.
    pub(crate) async fn limit(
        &self,
        bare: &Bare,
        requests: &Requests,
        read: fn(Message<'_>) -> anyhow::Result<()>,
    ) -> anyhow::Result<Round> {
        let watch = Watch::over(bare.id(), f64::NAN)?;
        let load = Load { to: bare.address, ..self.load() };
        let measured = load.measure(requests, Lasting::For(self.arguments.lasting()), read).await?;
        watch.ended(&measured, f64::NAN)
    }

    /// Has the service answer a page of each class, as it has when pupils hand in.
    pub(crate) async fn warm(&self, ready: &[Ready]) -> anyhow::Result<()> {
        let pages: Requests = ready.iter().step_by(PUPILS_A_CLASS).map(|ready| ready.page.clone()).collect();
        self.load().measure(&pages, Lasting::Once, expect_page).await?;
        Ok(())
    }

    /// The bare server with what the service answered; its database is a new one.
    pub(crate) async fn bare(&self) -> anyhow::Result<Bare> {
        let database = self.school.file("bare.db");
        for end in ["", "-wal", "-shm"] {
            // Where there is none there is nothing to remove.
            let _ = std::fs::remove_file(format!("{}{end}", database.display()));
        }
        Bare::start(self.school.folder(), &self.prepared().await?.answers).await
    }
}
