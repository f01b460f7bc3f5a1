//! What a pupil's request reads and writes in one step.

use super::*;

fn session(placement: &Placement, id: &str, user: &str) -> SessionRecord {
    SessionRecord {
        id: Fingerprint::of(id),
        registration: placement.quiz.link.registration,
        deployment: "d1".into(),
        user: Some(user.into()),
        purpose: SessionPurpose::Quiz { placement: placement.id.clone(), preview: false },
        csrf: "csrf".to_owned(),
        return_origin: None,
        expires_at: later(1_000),
    }
}

pub(super) async fn a_visit_brings_session_quiz_and_own_attempts(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 2).await;
    let elsewhere = placement(store.as_ref(), "l2", 2).await;
    let known = session(&placed, "secret", "u1");
    store.add_session(known.clone()).await.unwrap();
    let origins = BTreeSet::from(["https://pages.example.org".to_owned()]);
    store.set_frame_origins(known.registration, &origins, &change()).await.unwrap();
    submit(store.as_ref(), &placed, "u1", 4).await;
    let open = open_attempt(store.as_ref(), &placed, "u1").await;
    let others = open_attempt(store.as_ref(), &placed, "u2").await;
    let of_other_quiz = open_attempt(store.as_ref(), &elsewhere, "u1").await;
    store.allow_attempt(&placed.id, &"u1".into(), 0, &change()).await.unwrap();

    let visit = async |session: &str, at: &PlacementId, attempts, now| {
        let session = Some(Fingerprint::of(session));
        store.visit(VisitAsked { session, placement: at.clone(), attempts, now }).await.unwrap()
    };
    let all = visit("secret", &placed.id, Asked::All, monday()).await;
    assert_eq!((all.session, all.placement), (Some(known.clone()), Some(placed.clone())));
    assert_eq!(all.frames.as_ref().unwrap().issuer, "https://platform.example.org");
    assert_eq!(all.frames.unwrap().further, origins);
    assert_eq!(all.extra_attempts, 1);
    assert_eq!(all.attempts.iter().map(|attempt| attempt.number).collect::<Vec<_>>(), [1, 2]);

    let one =
        async |id: &AttemptId| visit("secret", &placed.id, Asked::One(id.clone()), monday()).await.attempts;
    assert_eq!(one(&open.id).await, [open]);
    assert!(one(&others.id).await.is_empty(), "another pupil's");
    assert!(one(&of_other_quiz.id).await.is_empty(), "at another quiz");
    assert!(one(&"none".into()).await.is_empty());

    // Without a session nothing of anybody is told, but who may frame the refusal.
    for (id, at, now) in [("secret", &placed.id, later(1_000)), ("other", &placed.id, monday())] {
        let none = visit(id, at, Asked::All, now).await;
        assert_eq!((none.session, none.attempts.len(), none.extra_attempts), (None, 0, 0));
        assert_eq!(none.frames.unwrap().further, origins);
    }
    let nowhere = visit("secret", &"none".into(), Asked::All, monday()).await;
    assert_eq!((nowhere.session, nowhere.placement, nowhere.attempts.len()), (Some(known), None, 0));
    let nobody = VisitAsked { session: None, placement: "none".into(), attempts: Asked::All, now: monday() };
    assert_eq!(store.visit(nobody).await.unwrap(), Visit::default());
}

pub(super) async fn handing_in_keeps_judges_and_closes_in_one_step(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 2).await;
    let attempt = open_attempt(store.as_ref(), &placed, "u1").await;
    let typing = |seen: &str, text: &str| {
        let steps = [("total".to_owned(), text.to_owned())].into();
        Typing::from_page("a", seen, Responses::from([("q1".to_owned(), steps)]))
    };
    // The judge of these: one who asks to look again until the answer is 3.
    let judge: Judge = Arc::new(|attempt: &Attempt, kept: &Kept| {
        assert_eq!(attempt.number, 1);
        (kept.responses["q1"]["total"] == "3").then(|| submission(attempt, 8).result)
    });
    let hand_in = async |typing: Typing| {
        let Attempt { id: attempt, placement, user, .. } = attempt.clone();
        let judge = judge.clone();
        store
            .hand_in(HandIn { attempt, placement, user, typing, judge, deliver: true, at: monday() })
            .await
            .unwrap()
    };
    let HandedIn::Kept(kept) = hand_in(typing("0", "2")).await else { panic!("the judge stops it") };
    assert_eq!((kept.revision, kept.responses["q1"]["total"].as_str()), (1, "2"));
    assert_eq!(store.attempt(&attempt.id).await.unwrap().unwrap().responses, kept.responses);
    assert!(lease(store.as_ref(), monday()).await.is_empty());

    let HandedIn::Closed(closed) = hand_in(typing("1", "3")).await else { panic!("the judge is content") };
    assert_eq!((closed.revision, closed.result.as_ref().map(|result| result.points)), (2, Some(8)));
    assert_eq!(store.attempt(&attempt.id).await.unwrap(), Some(closed.clone()));
    assert_eq!(told(&lease(store.as_ref(), monday()).await), [("u1", "graded", Some(8))]);

    assert_eq!(hand_in(typing("2", "2")).await, HandedIn::NotOpen);
    assert_eq!(store.attempt(&attempt.id).await.unwrap(), Some(closed), "a closed one stays as it is");
}
