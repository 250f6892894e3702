"""Who may come in and who is forgotten: passcodes, log-in, and a player's name taken out, as commands."""

from __future__ import annotations

from typing import Annotated

import typer

from pipeline.access import log_in as oidc
from pipeline.access.forgetting import forget as forget_player
from pipeline.access.passcodes import make_passcode, passcodes, revoke_passcodes
from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, StoreOption
from pipeline.command.standing import refresh_view
from pipeline.store import Store, StoreError

RoleArgument = Annotated[
    str | None,
    typer.Argument(metavar="ROLE", help="coach, stringer, manager or reader; left out, those in force are listed."),
]


@says_why
def passcode(
    role: RoleArgument = None,
    name: Annotated[
        str | None, typer.Option("--name", metavar="NAME", help="Whose it is, as records keep it; else the role's.")
    ] = None,
    revoke: Annotated[bool, typer.Option("--revoke", help="Take it back, and sign its phones out.")] = False,
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Make a passcode for a role, to be used with serve --lan; shown this once."""
    club = Store(store)
    if role is None:
        in_force = passcodes(club.folder)
        for code in in_force:
            typer.echo(f"{code.role}: {code.name}, begins with {code.mark}, made {code.made_at[:10]}")
        if not in_force:
            output.say("No passcode is in force.")
        return
    if revoke:
        count = revoke_passcodes(club.folder, role, name)
        if not count:
            raise StoreError(f"no passcode of {role}{f' for {name}' if name else ''} is in force.")
        output.say(f"{count} taken back; phones signed in with {'it' if count == 1 else 'them'} are out.")
        return
    club.create()
    typer.echo(make_passcode(club.folder, role, name))
    output.say(f"This passcode lets in as {role}. It is not kept: write it down now, or make a new one later.")


@says_why
def log_in(
    provider: Annotated[
        str | None,
        typer.Argument(metavar="PROVIDER", help="The provider's address, such as https://sign-in.example.org."),
    ] = None,
    client_id: Annotated[
        str | None, typer.Option("--client-id", metavar="ID", help="This club's number at the provider.")
    ] = None,
    address: Annotated[
        str | None, typer.Option("--address", metavar="URL", help="The dashboard's address as people reach it.")
    ] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take the log-in down.")] = False,
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Have everybody sign in with OpenID Connect; the client's secret is asked for, or read from standard input."""
    club = Store(store)
    if remove:
        if not oidc.take_down(club.folder):
            raise StoreError(f"{store} has no log-in.")
        output.say("The log-in is taken down: serve lets only this machine in, or passcodes with --lan.")
        return
    if provider is None or client_id is None or address is None:
        raise StoreError(
            "give the provider's address, --client-id and --address: the provider's page shows the first two."
        )
    secret = typer.prompt("Client secret", hide_input=True, err=True)
    club.create()
    oidc.set_up(club.folder, provider, client_id, secret, address)
    output.say(
        f"Written to {club.folder / oidc.SECRETS_NAME}. Enter {oidc.address_of(club.folder)}{oidc.CALLBACK} at the "
        "provider, and list who may come in under [roles] in club.toml."
    )
    if not club.settings.roles:
        output.say("Nobody is listed there yet, so nobody gets in.")


@says_why
def forget(
    player: Annotated[str, typer.Argument(metavar="PLAYER", help="The player's number, such as P07.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask again.")] = False,
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Take a player's name and number out of the whole store for good; the wear history stays, without a name."""
    club = Store(store)
    if not yes:
        typer.confirm(f"Forget {player} for good? This cannot be undone.", abort=True, err=True)
    forgotten = forget_player(club, player)
    refresh_view(club)
    typer.echo(f"Forgotten; the rackets' history now belongs to {forgotten.new_id}.")
    for name in forgotten.still_named_in:
        output.say(f"{club.folder / name} still holds the name and is not the store's own: see to it.")
    output.say(
        "Backups, exports and prints made earlier, and your own CSV files, still hold the name: delete them or make "
        "them anew. Loading an old file would bring the name back. Close and reopen a dashboard that is running."
    )
