"""A platform for the service to meet that is made of other people's code: the Python package lti1p3platform, a
platform-side library of LTI 1.3, and PyJWT, which checks whatever the service signs once more.

Listens on a free port of loopback and prints one line of JSON: what a tool has to know about it. Its pages are plain
forms with a button 'Continue'. The library decides what a login, a launch, a deep-linking response, an access token and a
service request are; here are only a store in memory and HTTP. What it saw is at /seen.

    python3 lti_platform.py TOOL_ORIGIN
"""

import html
import json
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qsl, urlencode, urlsplit

try:
    import jwt
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import rsa
    from lti1p3platform.exceptions import LineItemNotFoundException, LtiException
    from lti1p3platform.ltiplatform import LTI1P3PlatformConfAbstract
    from lti1p3platform.membership import Context
    from lti1p3platform.message_launch import LTIAdvantageMessageLaunchAbstract
    from lti1p3platform.oidc_login import OIDCLoginAbstract
    from lti1p3platform.registration import Registration
    from lti1p3platform.request import Request
    from lti1p3platform.score import UpdateScoreStatus
    from lti1p3platform.service_connector import AssignmentsGradesService, NamesRoleProvisioningService
except ImportError as error:
    print(f"a package is missing: {error}", file=sys.stderr)
    sys.exit(3)

TOOL = sys.argv[1]
CLIENT_ID = "tool-of-another-platform"
DEPLOYMENT = "1"
MEMBERSHIP = "http://purl.imsglobal.org/vocab/lis/v2/membership#"
PEOPLE = {"teacher-1": "Instructor", **{f"pupil-{number}": "Learner" for number in range(1, 9)}}
# So small that every list has several pages.
PAGE = 3


class Store:
    """Everything that the platform remembers, and everything that it heard."""

    def __init__(self):
        self.lock = threading.Lock()
        self.links = []
        self.line_items = {}
        self.scores = {}
        self.journal = []
        self.assertions = []
        # Whatever may stand in no log: tokens of either side, states, nonces.
        self.secrets = set()

    def seen(self):
        with self.lock:
            return {
                "links": self.links,
                "line_items": list(self.line_items.values()),
                "scores": self.scores,
                "journal": self.journal,
                "assertions": self.assertions,
                "secrets": sorted(self.secrets),
            }


store = Store()


def key_pair():
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    public = key.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    return private.decode(), public.decode()


PRIVATE, PUBLIC = key_pair()
BASE = ""


class Platform(LTI1P3PlatformConfAbstract):
    def init_platform_config(self, **kwargs):
        self._registration = (
            Registration()
            .set_iss(BASE)
            .set_client_id(CLIENT_ID)
            .set_deployment_id(DEPLOYMENT)
            .set_oidc_login_url(f"{TOOL}/lti/login")
            .set_launch_url(f"{TOOL}/lti/launch")
            .set_deeplink_launch_url(f"{TOOL}/lti/launch")
            .set_tool_key_set_url(f"{TOOL}/lti/keys")
            .set_platform_public_key(PUBLIC)
            .set_platform_private_key(PRIVATE)
        )

    def get_registration_by_params(self, **kwargs):
        return self._registration


class Login(OIDCLoginAbstract):
    def set_lti_message_hint(self, **kwargs):
        self._lti_message_hint = kwargs["hint"]

    def get_redirect(self, url):
        return url


class Launch(LTIAdvantageMessageLaunchAbstract):
    def get_preflight_response(self):
        return self._request

    def prepare_launch(self, preflight_response):
        person, hint = preflight_response["login_hint"], preflight_response["lti_message_hint"]
        # The library's own word for roles; the claim is written by it.
        self.set_user_data(person, [MEMBERSHIP + PEOPLE[person]])
        self.set_launch_context_claim("course-1", ["CourseOffering"], "Grade 5", "River day")
        self.set_nrps(f"{BASE}/members")
        if hint == "place":
            self.set_dl(f"{BASE}/placed", title="", extra_data=None)
            return
        link = store.links[int(hint)]
        self.set_resource_link_claim(f"link-{hint}", "", link.get("title", ""))
        self.set_custom_parameters_claim(link.get("custom", {}))
        self.set_ags(f"{BASE}/lineitems", None, True, True, True)

    def render_launch_form(self, launch_data, **kwargs):
        fields = {"id_token": launch_data["id_token"], "state": launch_data["state"]}
        store.secrets.update([*fields.values(), self._request["nonce"]])
        inputs = "".join(
            f'<input type="hidden" name="{name}" value="{html.escape(value)}">' for name, value in fields.items()
        )
        action = html.escape(launch_data["launch_url"])
        return f'<form method="post" action="{action}">{inputs}<button>Continue</button></form>'


class LibraryRequest(Request):
    def build_metadata(self, request):
        return request


def page_of(rows, page, limit):
    page, limit = int(page), min(int(limit or PAGE), PAGE)
    rest = rows[(page - 1) * limit :]
    return {"content": rest[:limit], "has_next": len(rest) > limit, "next": None}


class Grades(AssignmentsGradesService):
    def find_lineitems(
        self, page=1, limit=None, line_item_id=None, resource_link_id=None, resource_id=None, tag=None
    ):
        wanted = {"resourceLinkId": resource_link_id, "resourceId": resource_id, "tag": tag}
        wanted = {name: value for name, value in wanted.items() if value is not None}
        rows = [
            item
            for item in store.line_items.values()
            if all(item.get(name) == value for name, value in wanted.items())
        ]
        return page_of(rows, page, limit)

    def find_lineitem(self, line_item_id):
        if line_item_id not in store.line_items:
            raise LineItemNotFoundException
        return store.line_items[line_item_id]

    def create_lineitem(self, creation_data):
        number = str(len(store.line_items) + 1)
        store.line_items[number] = {**creation_data, "id": f"{BASE}/lineitems/{number}"}
        return store.line_items[number]

    def update_lineitem(self, update_data):
        raise NotImplementedError

    def delete_lineitem(self, line_item_id):
        raise NotImplementedError

    def update_score(self, line_item_id, score):
        self.find_lineitem(line_item_id)
        store.journal.append({"lineItem": line_item_id, **score})
        known = store.scores.setdefault(line_item_id, {}).get(score["userId"])
        # ISO 8601 in UTC with milliseconds sorts as text.
        if known and known["timestamp"] >= score["timestamp"]:
            return UpdateScoreStatus.OLD_TIMESTAMP
        store.scores[line_item_id][score["userId"]] = score
        return UpdateScoreStatus.SUCCESS

    def get_results(self, line_item_id, page=1, limit=None, user_id=None):
        self.find_lineitem(line_item_id)
        of_item = store.scores.get(line_item_id, {})
        rows = [
            {
                "id": f"{BASE}/lineitems/{line_item_id}/results/{person}",
                "scoreOf": f"{BASE}/lineitems/{line_item_id}",
                "userId": person,
                "resultScore": score["scoreGiven"],
                "resultMaximum": score["scoreMaximum"],
            }
            for person, score in of_item.items()
            if "scoreGiven" in score and (user_id is None or person == user_id)
        ]
        return page_of(rows, page, limit)


class Members(NamesRoleProvisioningService):
    def get_member_data_page(self, page=1, limit=None, role=None, since=None, rlid=None):
        rows = [
            {"user_id": person, "roles": [MEMBERSHIP + name], "name": f"Name of {person}"}
            for person, name in PEOPLE.items()
            if role is None or role in (name, MEMBERSHIP + name)
        ]
        return page_of(rows, page, limit)

    def get_context_by_id(self):
        return Context("course-1", "Grade 5", "River day")

    def is_resource_link_valid(self, context_id, resource_link_id):
        return resource_link_id.startswith("link-")


def strictly_decoded(token, audience):
    """What PyJWT says of a token that the service signed, by the key set that the service publishes."""
    key = jwt.PyJWKClient(f"{TOOL}/lti/keys").get_signing_key_from_jwt(token)
    claims = jwt.decode(
        token,
        key,
        algorithms=["RS256"],
        audience=audience,
        issuer=CLIENT_ID,
        options={"require": ["iss", "aud", "iat", "exp"]},
    )
    return jwt.get_unverified_header(token), claims


class Handler(BaseHTTPRequestHandler):
    def log_message(self, *arguments):
        pass

    def answer(self, status, body=b"", kind="text/html; charset=utf-8", **headers):
        body = body.encode() if isinstance(body, str) else body
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        for name, value in headers.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def json(self, value, status=200, kind="application/json", **headers):
        self.answer(status, json.dumps(value), kind, **headers)

    def do_GET(self):
        self.handle_it("GET", b"")

    def do_POST(self):
        self.handle_it("POST", self.rfile.read(int(self.headers.get("Content-Length") or 0)))

    def handle_it(self, method, body):
        url = urlsplit(self.path)
        query = dict(parse_qsl(url.query))
        with store.lock if url.path != "/seen" else threading.Lock():
            try:
                self.route(method, url.path, query, body)
            except (LtiException, AssertionError, KeyError, jwt.PyJWTError) as error:
                self.json({"error": "invalid_request", "why": f"{type(error).__name__}: {error}"}, 400)

    def route(self, method, path, query, body):
        platform = Platform()
        if path == "/seen":
            self.json(store.seen())
        elif path == "/keys":
            self.json(platform.get_jwks())
        elif path == "/start":
            login = Login(None, platform)
            login.set_lti_message_hint(hint=query["hint"])
            self.answer(302, Location=login.initiate_login(query["as"]))
        elif path == "/authorize":
            launch = Launch(query, platform)
            self.answer(200, launch.lti_launch())
        elif path == "/placed":
            self.placed(platform, dict(parse_qsl(body.decode())))
        elif path == "/token":
            self.token(platform, dict(parse_qsl(body.decode())))
        elif path == "/members":
            service = Members(self.library_request(method, path, query, None), platform, f"{BASE}/members")
            self.service_answer(service.handle_resp(service.handle_get_members), f"{BASE}/members", query)
        elif path.startswith("/lineitems"):
            self.grades(platform, method, path, query, body)
        else:
            self.answer(404, "no such address")

    def placed(self, platform, form):
        header, claims = strictly_decoded(form["JWT"], BASE)
        store.secrets.add(form["JWT"])
        items = platform.validate_deeplinking_resp(form)
        store.links.extend(items)
        store.assertions.append({"deep_linking": claims, "header": header})
        self.answer(200, f"<p>{len(items)} placed</p>")

    def token(self, platform, form):
        header, claims = strictly_decoded(form["client_assertion"], f"{BASE}/token")
        store.assertions.append({"assertion": claims, "header": header, "scope": form["scope"]})
        granted = platform.get_access_token(form)
        store.secrets.update([form["client_assertion"], claims["jti"], granted["access_token"]])
        self.json(granted)

    def library_request(self, method, path, query, content):
        return LibraryRequest(
            {
                "method": method,
                "form_data": {},
                # Numbers, because the library reckons with them.
                "get_data": {
                    name: int(value) if name in ("page", "limit") else value for name, value in query.items()
                },
                "headers": self.headers,
                "content_type": self.headers.get("Content-Type"),
                "path": path,
                "json": content,
            }
        )

    def grades(self, platform, method, path, query, body):
        content = json.loads(body) if body else None
        service = Grades(self.library_request(method, path, query, content), platform, f"{BASE}/lineitems")
        parts = path.strip("/").split("/")
        handler, arguments = {
            (1, "GET"): (service.handle_get_lineitems, {}),
            (1, "POST"): (service.handle_create_lineitem, {}),
            (3, "POST"): (service.handle_update_score, {"line_item_id": parts[1] if len(parts) > 1 else ""}),
            (3, "GET"): (service.handle_get_results, {"line_item_id": parts[1] if len(parts) > 1 else ""}),
        }[(len(parts), method)]
        if method == "POST":
            expected = "application/vnd.ims.lis.v1.score+json" if len(parts) == 3 else (
                "application/vnd.ims.lis.v2.lineitem+json"
            )
            assert self.headers.get("Content-Type") == expected, self.headers.get("Content-Type")
        answer = service.handle_resp(handler, **arguments)
        self.service_answer(answer, f"{BASE}{path}", query)

    def service_answer(self, answer, address, query):
        """The library's answer as the standard writes it: a list is an array, its next page a link in the header."""
        if answer.code >= 400:
            self.json({"message": answer.message}, answer.code)
            return
        result, headers = answer.result, {}
        if self.command == "GET":
            assert self.headers.get("Accept") == answer.media_type, self.headers.get("Accept")
        if isinstance(result, dict) and "has_next" in result:
            if result["has_next"]:
                following = {**query, "page": int(query.get("page", 1)) + 1}
                headers["Link"] = f'<{address}?{urlencode(following)}>; rel="next"'
            result = result["content"]
        elif isinstance(result, dict) and "members" in result:
            shown = (int(query.get("page", 1)) - 1) * PAGE + len(result["members"])
            if shown < len(PEOPLE) and len(result["members"]) == PAGE:
                following = {**query, "page": int(query.get("page", 1)) + 1}
                headers["Link"] = f'<{address}?{urlencode(following)}>; rel="next"'
        self.json(result, answer.code, answer.media_type, **headers)


server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
BASE = f"http://127.0.0.1:{server.server_address[1]}"
print(
    json.dumps(
        {
            "issuer": BASE,
            "client_id": CLIENT_ID,
            "deployment_id": DEPLOYMENT,
            "authorization_url": f"{BASE}/authorize",
            "token_url": f"{BASE}/token",
            "keys_url": f"{BASE}/keys",
        }
    ),
    flush=True,
)
server.serve_forever()
