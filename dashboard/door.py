"""Who is at the screen: the door of the dashboard, and the person on whose behalf pages write.

In: the address the server listens on, the store's passcodes or its log-in, the browser's cookie. Out: `is_open()`,
the page to sign in, and `person()`, asked for again at every run and before every write. Where the server listens on
this machine alone and no log-in is set up, it is the one trusted user. The door hangs on the server's own setting, so
a dashboard that was started past `racket-fleet serve` on another address is shut, not open.
"""

from __future__ import annotations

import streamlit as st
from streamlit import config

from dashboard import data, screen
from dashboard.telling import show_error
from pipeline.access import listening, log_in, passcodes
from pipeline.fleet import words
from pipeline.store import StoreError
from pipeline.store.people import LOCAL, NotAllowedError, Person

COOKIE = "racket_fleet_door"
_TOKEN, _OUT = "door_token", "door_is_out"
_KEEP_TOKEN = """
export default function(component) {
  const { token, seconds } = component.data;
  const secure = window.location.protocol === "https:" ? "; Secure" : "";
  const age = token ? seconds : 0;
  document.cookie = "COOKIE=" + token + "; Path=/; Max-Age=" + age + "; SameSite=Strict" + secure;
}
""".replace("COOKIE", COOKIE)


def kind() -> str:
    """Which door this is: alone, passcode or log-in; raises `StoreError` where the address may not be served so."""
    address = config.get_option("server.address")
    if address is None and config.get_option("global.appTest"):
        address = listening.LOOPBACK  # a test of the pages, which no server stands behind
    return listening.door_of(address, log_in.has_log_in(data.store_folder()))


def _whence() -> str | None:
    """The address at the other end; None for this machine itself."""
    told = st.context.ip_address
    return told if isinstance(told, str) else None


def _token() -> str | None:
    """What stands for this device: of this session, or kept by the browser."""
    if st.session_state.get(_OUT):
        return None
    token = st.session_state.get(_TOKEN) or st.context.cookies.get(COOKIE)
    return token if isinstance(token, str) else None


def _somebody() -> Person | None:
    """Who is at the screen; None if nobody is signed in. Raises `StoreError` where nobody may be."""
    door = kind()
    if door == listening.ALONE:
        return LOCAL
    if door == listening.LOG_IN:
        return log_in.person_of_claims(st.user.to_dict(), data.open_store().settings.roles)
    whence = _whence()
    if whence is not None and not listening.is_own_network(whence):
        raise StoreError("This dashboard is for the club's own network: connect to that, then open it again.")
    return passcodes.person_of_token(data.store_folder(), _token())


def person() -> Person:
    """The person at the screen, as the club's list has them at this moment.

    Raises `NotAllowedError` if nobody is signed in.
    """
    found = _somebody()
    if found is None:
        raise NotAllowedError("You are not signed in any more: open the page again and sign in.")
    return found


def lets_in() -> bool:
    """Whether the page may be shown to whoever is at the screen; if not, the way in, or why there is none, is shown."""
    try:
        if _somebody() is not None:
            return True
        is_log_in = kind() == listening.LOG_IN
    except StoreError as error:
        st.title("This dashboard is shut", anchor=False)
        show_error(error, "block")
        return False
    st.title("Sign in", anchor=False)
    if is_log_in:
        _show_log_in()
    else:
        _show_passcode()
        _keep_cookie()
    return False


def _show_log_in() -> None:
    if not st.user.get("is_logged_in"):
        st.caption("Sign in with the account that the club has put on its list.")
        if st.button("Sign in", type=screen.main_button(), icon=":material/login:"):
            st.login()
        return
    shown = st.user.get("email") or st.user.get("sub") or "This account"
    st.error(f"{words.plain(str(shown))} is not on the club's list, so nothing is shown.", icon=":material/block:")
    st.caption(
        "Ask whoever runs this dashboard to write the account into [roles] of club.toml, by an e-mail address that the "
        "provider has verified, or by this number:"
    )
    st.code(f"sub:{st.user.get('sub')}", language=None)
    if st.button("Sign out"):
        st.logout()


def _show_passcode() -> None:
    st.caption("Type the passcode you were given. This phone stays signed in for 30 days.")
    with st.form("door", border=False):
        typed = st.text_input("Passcode", type="password", max_chars=passcodes.LONGEST_TYPED, width=340)
        asked = st.form_submit_button("Sign in", type=screen.main_button(), icon=":material/login:")
    if not asked:
        return
    try:
        token = passcodes.sign_in(data.store_folder(), typed, _whence() or "this machine")
    except StoreError as error:
        show_error(error)
        return
    st.session_state[_TOKEN], st.session_state[_OUT] = token, False
    st.rerun()


def show_person() -> None:
    """Below a page: who is signed in, and the way out. Nothing where one trusted user works alone."""
    door = kind()
    if door == listening.ALONE:
        return
    if door == listening.PASSCODE:
        _keep_cookie()
    who = person()
    with st.container(horizontal=True, vertical_alignment="center"):
        st.caption(f"Signed in as {words.plain(who.name)}, {who.role}.", width="content")
        if st.button("Sign out", type="tertiary", icon=":material/logout:"):
            _leave(door)


def _leave(door: str) -> None:
    if door == listening.LOG_IN:
        st.logout()
        return
    token = _token()
    if token:
        passcodes.sign_out(data.store_folder(), token)
    st.session_state[_OUT] = True
    st.session_state.pop(_TOKEN, None)
    st.rerun()


def _keep_cookie() -> None:
    """Have the browser keep this session's token, or drop the one it has once it no longer stands for anybody."""
    token = _token()
    seconds = passcodes.SIGNED_IN_DAYS * 24 * 3600
    is_known = passcodes.person_of_token(data.store_folder(), token) is not None
    component = st.components.v2.component("racket_fleet_door", js=_KEEP_TOKEN)
    component(key="door_cookie", data={"token": token if is_known else "", "seconds": seconds}, height=1)
