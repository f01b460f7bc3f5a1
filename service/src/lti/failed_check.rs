//! Every reason to refuse a login or launch, with its stable name, status and meaning; what people read of it is a message of `locales/…/refusals.ftl`.

/// Declares the checks as one table: variant, status, name, sentence.
macro_rules! checks {
    ($($variant:ident $status:literal $name:literal $sentence:literal)+) => {
        /// A check that a login or launch did not pass.
        ///
        /// Status 400 means malformed, 401 not authentic, 403 authentic but not allowed. Names are stable: they appear
        /// on pages, in logs and as a metric's label.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum FailedCheck {
            $(#[doc = $sentence] $variant,)+
        }

        impl FailedCheck {
            /// Every check, in the order of a launch.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The stable name.
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }

            /// The HTTP status: 400, 401 or 403.
            pub fn status(self) -> u16 {
                match self { $(Self::$variant => $status,)+ }
            }
        }
    };
}

checks! {
    RepeatedParameter 400 "repeated_parameter" "The request names one parameter twice with different values."
    RequestForm 400 "request_form" "The request is not a form of the expected size and encoding."
    LoginIssuer 400 "login_issuer" "The login request does not say which platform it comes from."
    LoginHint 400 "login_hint" "The login request does not carry the platform's login hint."
    LoginTarget 400 "login_target" "The login request does not lead to an address of this service."
    IssuerUnknown 401 "issuer_unknown" "The platform is not registered here."
    ClientUnknown 401 "client_unknown" "The platform is registered here, but not under this client id."
    ClientAmbiguous 400 "client_ambiguous" "The platform is registered here several times and did not say which one it means."
    PostRequired 400 "post_required" "A launch has to be posted as a form."
    PlatformError 401 "platform_error" "The platform could not sign you in."
    StateMissing 400 "state_missing" "The launch does not carry the state of a login."
    StateUnknown 401 "state_unknown" "The launch does not belong to any login started here."
    StateUsed 401 "state_used" "The launch has been used before."
    StateExpired 401 "state_expired" "The login took too long."
    Browser 401 "browser" "The launch comes from another browser than its login, or the browser blocks cookies."
    WindowTicket 401 "window_ticket" "This window was opened before, or too late."
    TokenMissing 400 "token_missing" "The launch does not carry an id_token."
    TokenSize 400 "token_size" "The id_token is too large."
    TokenForm 400 "token_form" "The id_token is not made of three base64url parts."
    TokenJson 400 "token_json" "The header or the content of the id_token is not a JSON object."
    DuplicateMember 400 "duplicate_member" "The id_token names one member twice."
    Algorithm 401 "algorithm" "The id_token is not signed with RS256."
    CriticalHeader 400 "critical_header" "The id_token demands an extension that is not known here."
    KeyIdMissing 400 "key_id_missing" "The id_token does not name its key."
    KeyUnknown 401 "key_unknown" "The id_token is signed with a key that the platform does not publish."
    Signature 401 "signature" "The signature of the id_token is wrong."
    ClaimType 400 "claim_type" "A claim of the id_token has the wrong type."
    Issuer 401 "issuer" "The id_token was issued by another platform than the one asked."
    Audience 401 "audience" "The id_token is meant for another service."
    AuthorizedParty 401 "authorized_party" "The id_token was issued to another service."
    ExpiryMissing 400 "expiry_missing" "The id_token does not say when it expires."
    Expired 401 "expired" "The id_token has expired."
    IssuedAtMissing 400 "issued_at_missing" "The id_token does not say when it was issued."
    IssuedInFuture 401 "issued_in_future" "The id_token was issued in the future."
    TooOld 401 "too_old" "The id_token was issued too long ago."
    NotBefore 401 "not_before" "The id_token is not valid yet."
    NonceMissing 400 "nonce_missing" "The id_token does not carry a nonce."
    Nonce 401 "nonce" "The id_token does not carry the nonce of its login."
    MessageTypeMissing 400 "message_type_missing" "The id_token does not say what kind of message it is."
    MessageType 400 "message_type" "The id_token is a kind of message that is not known here."
    VersionMissing 400 "version_missing" "The id_token does not say which version of the standard it follows."
    Version 400 "version" "The id_token does not follow version 1.3.0 of the standard."
    DeploymentMissing 400 "deployment_missing" "The id_token does not name its deployment."
    DeploymentForm 400 "deployment_form" "The deployment in the id_token is empty or too long."
    DeploymentHint 401 "deployment_hint" "The id_token names another deployment than its login."
    DeploymentUnknown 403 "deployment_unknown" "This deployment of the platform is not registered here. It waits for approval by the person who looks after tenths."
    SubjectMissing 400 "subject_missing" "The id_token does not say who is launching."
    SubjectForm 400 "subject_form" "The person's identifier in the id_token is empty, too long or not plain text."
    RolesMissing 400 "roles_missing" "The id_token does not carry the list of roles."
    TargetMissing 400 "target_missing" "The id_token does not say where it leads."
    TargetForeign 400 "target_foreign" "The id_token does not lead to an address of this service."
    TargetDiffers 401 "target_differs" "The id_token leads to another address than its login."
    ResourceLink 400 "resource_link" "The id_token does not name the link that was followed."
    GradeEndpoint 400 "grade_endpoint" "The id_token names an address for grades that may not be used."
    DeepLinkingSettings 400 "deep_linking_settings" "The id_token does not say what may be placed."
    ReturnUrl 400 "return_url" "The id_token names a return address that may not be used."
    AcceptTypes 403 "accept_types" "The platform does not take links at this place."
    RoleNotAllowed 403 "role_not_allowed" "Only teachers and authors may place a quiz."
    CustomParameters 400 "custom_parameters" "The link does not say which pool, how many questions and how many attempts it means."
    PoolUnknown 403 "pool_unknown" "The pool that the link names is not loaded here."
}

impl std::fmt::Display for FailedCheck {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

impl std::error::Error for FailedCheck {}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn names_are_unique_and_statuses_are_refusals() {
        let names: BTreeSet<_> = FailedCheck::ALL.iter().map(|check| check.name()).collect();
        assert_eq!(names.len(), FailedCheck::ALL.len());
        for check in FailedCheck::ALL {
            assert!([400, 401, 403].contains(&check.status()), "{check}");
        }
    }
}
