//! What a launch reads and writes in one step.

use super::*;

fn opening(state: &str, quiz: Option<NewPlacement>, registration: RegistrationId) -> Opening {
    let member = Member {
        user: "u1".into(),
        part: Part::Preview,
        status: MemberStatus::Active,
        name: None,
        seen_at: monday(),
    };
    let link = LinkOpening {
        link: LinkKey { registration, deployment: "d1".into(), resource_link: "l1".into() },
        quiz: Arc::new(move |known| known.or(quiz.clone())),
        windows: BTreeMap::new(),
        member,
        roster: None,
    };
    let id = Fingerprint::of(&format!("session of {state}"));
    let session = move |purpose| SessionRecord {
        id: id.clone(),
        registration,
        deployment: "d1".into(),
        user: Some("u1".into()),
        purpose,
        csrf: "csrf".to_owned(),
        return_origin: None,
        expires_at: later(100_000),
    };
    Opening {
        login: Fingerprint::of(state),
        now: monday(),
        opens: Opens::Link(Box::new(link)),
        session: Arc::new(session),
        ticket: None,
    }
}

async fn a_launch_uses_its_login_up_and_opens_once(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "elsewhere", 2).await;
    let registration = placed.quiz.link.registration;
    for state in ["one", "two"] {
        store.add_login_state(login_state(registration, state)).await.unwrap();
    }
    let link = LinkKey { resource_link: "l1".into(), ..placed.quiz.link.clone() };
    let described = NewPlacement { link: link.clone(), title: String::new(), ..placed.quiz.clone() };
    let open = async |opening: Opening| store.open_launch(opening).await.unwrap();

    let seen = store.answered_login(&Fingerprint::of("one"), monday()).await.unwrap().unwrap();
    assert_eq!((seen.seen.open, seen.registration.id), (true, registration));
    assert!(seen.frames.origins.contains("https://platform.example.org"), "{:?}", seen.frames);

    let Opened::Session(session) = open(opening("one", Some(described.clone()), registration)).await else {
        panic!("it opens")
    };
    let made = store.placement_of(&link).await.unwrap().unwrap();
    assert_eq!(made.quiz.title, "Rivers", "a title that is empty is the pool's");
    assert_eq!(session.purpose, SessionPurpose::Quiz { placement: made.id.clone(), preview: true });
    assert_eq!(store.session(&session.id, monday()).await.unwrap(), Some(session));
    let members = store.members_at(&made.id).await.unwrap();
    assert_eq!(members.iter().map(|member| member.part).collect::<Vec<_>>(), [Part::Preview]);

    let again = open(opening("one", Some(described.clone()), registration)).await;
    assert_eq!(again, Opened::Not(TakenState::Used));
    assert!(!store.answered_login(&Fingerprint::of("one"), monday()).await.unwrap().unwrap().seen.open);
    assert_eq!(open(opening("never", None, registration)).await, Opened::Not(TakenState::Unknown));

    // A quiz that is known needs no description.
    assert!(matches!(open(opening("two", None, registration)).await, Opened::Session(_)));
    assert_eq!(store.placement_of(&link).await.unwrap(), Some(made));
}

async fn a_launch_that_opens_nothing_uses_its_login_up(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "elsewhere", 2).await;
    let registration = placed.quiz.link.registration;
    for state in ["none", "gone"] {
        store.add_login_state(login_state(registration, state)).await.unwrap();
    }
    let open = async |opening: Opening| store.open_launch(opening).await.unwrap();
    assert_eq!(open(opening("none", None, registration)).await, Opened::NoQuiz);
    let link = LinkKey { resource_link: "l1".into(), ..placed.quiz.link.clone() };
    let gone = NewPlacement { link, pool: "gone".into(), ..placed.quiz.clone() };
    assert_eq!(open(opening("gone", Some(gone), registration)).await, Opened::NoPool);
    for state in ["none", "gone"] {
        let taken = store.take_login_state(&Fingerprint::of(state), monday()).await.unwrap();
        assert_eq!(taken, TakenState::Used, "{state}");
    }
}

on_every_store! {
    a_launch_uses_its_login_up_and_opens_once
    a_launch_that_opens_nothing_uses_its_login_up
}
