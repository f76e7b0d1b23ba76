from __future__ import annotations

import logging
from pathlib import Path

import pytest

from ingest import explain
from ingest.decoding.rules import rule_from
from ingest.errors import SettingsError
from ingest.settings.settings import SETTINGS, Broker, load


def write(folder: Path, text: str) -> Path:
    path = folder / "tunroom.toml"
    path.write_text(text, encoding="utf-8")
    return path


FULL = """\
data_dir = "cellar"

[broker]
host = "10.0.0.5"
user = "cellar"
password_file = "secret.txt"
prefix = "home/tunroom"
topics = ["shed/#"]
tls_ca_file = "ca.pem"
keep_alive_s = 60

[server]
port = 9000
hosts = ["Tun.example", "attic.lan."]

[[rules]]
name = "shed probes"
topic = "shed/{device}/temp"
temperature = { value = "@", unit = "°F" }

[[rules]]
topic = "barn/{device}"
[rules.gravity]
value = "g"
unit = "SG"
"""


@pytest.fixture
def full(tmp_path: Path) -> Path:
    (tmp_path / "secret.txt").write_text("quiet please\n")
    (tmp_path / "ca.pem").write_text("x")
    return write(tmp_path, FULL)


def test_a_file_is_read_with_paths_beside_it(full: Path) -> None:
    settings = load(full, None, {})
    assert settings.data_dir == full.parent / "cellar"
    assert settings.broker == Broker(
        host="10.0.0.5",
        port=8883,  # TLS is wanted, as a tls_ setting is given
        user="cellar",
        password="quiet please",
        prefix="home/tunroom",
        topics=("shed/#",),
        tls=True,
        tls_ca_file=full.parent / "ca.pem",
        keep_alive_s=60,
    )
    assert settings.server.port == 9000
    assert settings.server.hosts == ("tun.example", "attic.lan")
    assert [rule.name for rule in settings.rules] == ["shed probes", "barn/{device}"]
    assert not settings.embedded


def test_the_environment_wins_over_the_file(full: Path) -> None:
    environ = {
        "TUNROOM_BROKER__HOST": "broker.example",
        "TUNROOM_BROKER__PORT": "1999",
        "TUNROOM_BROKER__PASSWORD": "louder",
        "TUNROOM_BROKER__TLS": "false",
        "TUNROOM_BROKER__TOPICS": "a/#, b/+",
        "TUNROOM_SERVER__HOSTS": "tun.example, attic.lan,",
        "TUNROOM_DATA_DIR": "/elsewhere",
        "HOME": "/home/anna",
    }
    settings = load(full, None, environ)
    assert (settings.broker.host, settings.broker.port, settings.broker.password) == ("broker.example", 1999, "louder")
    assert settings.broker.topics == ("a/#", "b/+")
    assert settings.server.hosts == ("tun.example", "attic.lan")
    assert load(full, None, {"TUNROOM_SERVER__HOSTS": ""}).server.hosts == ()
    assert settings.data_dir == Path("/elsewhere")


def test_the_command_line_names_the_data_directory_last(full: Path, tmp_path: Path) -> None:
    assert load(full, tmp_path / "other", {"TUNROOM_DATA_DIR": "/elsewhere"}).data_dir == tmp_path / "other"


def test_without_file_and_environment_the_embedded_broker_listens_on_loopback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    settings = load(None, None, {})
    assert settings.embedded
    assert settings.broker.listen == "127.0.0.1"
    assert settings.data_dir.name == "tunroom"


def test_a_password_never_shows(full: Path, caplog: pytest.LogCaptureFixture) -> None:
    settings = load(full, None, {})
    with caplog.at_level(logging.DEBUG):
        logging.getLogger("x").warning("%s %r", settings, settings.broker)
    assert "quiet please" not in caplog.text
    assert "quiet please" not in explain.check(full, None, {}).text


@pytest.mark.parametrize(
    ("text", "line", "problem"),
    [
        ("[broker]\nhost = 10.0.0.5\n", 2, "not TOML"),
        ("[broker]\n\nprot = 1883\n", 3, "no setting 'prot'"),
        ("[broker]\nport = 70000\n", 2, "from 1 to 65535"),
        ('[broker]\nport = "1883x"\n', 2, "whole number"),
        ("# first\n[broker]\nhost = 7\n", 3, "a text in quotes"),
        ('[broker]\npassword = "x"\n', 2, "does not belong in this file"),
        ('[broker]\nhost = "h"\npassword_file = "nowhere"\n', 3, "there is no file"),
        ('[broker]\ntopics = ["a/#/b"]\n', 2, "no topic filter"),
        ('[broker]\nprefix = "a/+"\n', 2, "a prefix is plain"),
        ('[broker]\ntls = "yes"\n', 2, "true or false"),
        ("[broker]\nkeep_alive_s = 1\n", 2, "out of range"),
        ('[broker]\nlisten = "0.0.0.0"\n', 2, "anybody on the network"),
        ("[broker]\ntls = true\n", 1, "does not speak TLS"),
        ('data_dir = "~nobody-at-all/x"\n', 1, "no home directory"),
        ("[server]\nport = 1883\n", 2, "meant for the broker and for the dashboard"),
        ('[broker]\nhost = "h"\nlisten = "0.0.0.0"\n', 3, "tunroom runs none that could listen"),
        ('[broker]\nhost = "h"\ntls = false\ntls_ca_file = "here.pem"\n', 3, "tls is off"),
        ("[server]\nport = 1\n\n[server]\nport = 2\n", 4, "A table begins once"),
        ("colour = 1\n", 1, "no setting 'colour'"),
        ('[server]\nport = 1\nhost = ""\n', 3, "a text in quotes"),
        ("[server]\nhosts = 7\n", 2, "a list of names"),
        ('[server]\nhosts = ["tun.example", 7]\n', 2, "a list of names"),
        ('[server]\nhosts = ["tun.example:8600"]\n', 2, "the name alone, without http://, port and *"),
        ('[server]\nhosts = ["https://tun.example"]\n', 2, "the name alone, without http://, port and *"),
        ('[server]\nhosts = ["*"]\n', 2, "the name alone, without http://, port and *"),
        ('[server]\nhosts = [""]\n', 2, "no name of a host"),
        ('[server]\nhosts = ["tün.example"]\n', 2, "beginning with xn--"),
        ('[server]\ntrusted_proxy = ["proxy"]\n', 2, "no address in numbers"),
        ('[server]\ntrusted_proxy = ["0.0.0.0/0"]\n', 2, "is everybody"),
        ('[server]\ntrusted_proxy = ["192.0.2.1/24"]\n', 2, "no network"),
        ('[server]\nuser_header = "X-Remote-User"\n', 2, "anybody could send this header"),
        ('[server]\ntrusted_proxy = ["::1"]\nuser_header = "Cookie"\n', 3, "for another purpose"),
        ('[server]\ntrusted_proxy = ["::1"]\nuser_header = "X Y"\n', 3, "letters, digits and -"),
        ('[server]\nkeepers = ["ann"]\n', 2, "names are only known from a proxy's header"),
        ('[server]\ncertificate = "tunroom.toml"\n', 2, "a certificate needs its key"),
        ('[server]\nkey = "tunroom.toml"\n', 2, "a certificate needs its key"),
        ('[server]\ncertificate = "tunroom.toml"\nkey = "tunroom.toml"\n', 2, "cannot be used for TLS"),
        ('[broker]\ngateways = ["a/b"]\n', 2, "no id of a device"),
        ('[[rules]]\ntopic = "a/{device}"\ntemperature = { value = "t", unit = "V" }\n', 3, "'V' is not known"),
        (
            '[[rules]]\ntopic = "a/{device}"\ntemperature = { value = "t", unit = "K" }\n\n'
            '[[rules]]\ntopic = "b/{device}"\n[rules.battery]\nvalue = "x."\nunit = "V"\n',
            7,
            "no JMESPath expression",
        ),
    ],
)
def test_a_wrong_line_is_named_with_its_number(tmp_path: Path, text: str, line: int, problem: str) -> None:
    path = write(tmp_path, text)
    (tmp_path / "here.pem").touch()
    with pytest.raises(SettingsError) as caught:
        load(path, None, {})
    assert f"{path}, line {line}" in str(caught.value)
    assert problem in str(caught.value)
    explanation = explain.check(path, None, {})
    assert not explanation.good
    assert f"line {line}" in explanation.text


EIGHT_FAULTS = """\
data_dir = 7
colour = 1

[broker]
host = 10.0.0.5
port = 70000
prot = 1883
[server]
port = "many"

[[rules]]
topic = "a/{device}"
temperature = { value = "t", unit = "V" }
battery = { value = "b." , unit = "V" }
"""


def test_every_wrong_line_is_named_at_once(tmp_path: Path) -> None:
    path = write(tmp_path, EIGHT_FAULTS)
    said = explain.check(path, None, {"TUNROOM_BROKER__KEEP_ALIVE_S": "soon"}).text.splitlines()
    lines = [int(line.partition(", line ")[2].partition(",")[0].partition(":")[0] or 0) for line in said]
    assert lines == [1, 2, 5, 6, 7, 9, 13, 14, 0]
    assert "TUNROOM_BROKER__KEEP_ALIVE_S" in said[-1]


def test_what_is_not_toml_and_cannot_be_passed_over_is_named_alone(tmp_path: Path) -> None:
    path = write(tmp_path, "[broker]\nprot = 1\n[server\nport = 1\n")
    [line] = explain.check(path, None, {}).text.splitlines()
    assert "line 3" in line


def test_an_error_of_a_rule_tells_all_its_faults() -> None:
    with pytest.raises(SettingsError) as caught:
        rule_from({"topic": "a/b", "temperature": {"value": "t"}, "colour": 1})
    assert len(caught.value.more) == 2


@pytest.mark.parametrize(
    ("environ", "problem"),
    [
        ({"TUNROOM_BROKER__PROT": "1"}, "no such setting"),
        ({"TUNROOM_BROKER__PORT": "many"}, "whole number"),
        ({"TUNROOM_BROKER__PASSWORD": ""}, "empty"),
        ({"TUNROOM_BROKER__PASSWORD": "x"}, "no user"),
    ],
)
def test_a_wrong_variable_is_named(environ: dict[str, str], problem: str, tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as caught:
        load(write(tmp_path, ""), None, environ)
    assert problem in str(caught.value)


def test_a_client_certificate_needs_its_key(full: Path) -> None:
    full.write_text(FULL.replace("tls_ca_file", "tls_certificate_file"))
    with pytest.raises(SettingsError, match="needs its key"):
        load(full, None, {})


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="there is no such file"):
        load(tmp_path / "none.toml", None, {})


def test_checking_a_good_file_says_what_it_amounts_to(full: Path) -> None:
    explanation = explain.check(full, None, {})
    assert explanation.good
    assert "10.0.0.5:8883, TLS, user cellar, with a password" in explanation.text
    assert "home/tunroom/report/+, shed/#" in explanation.text
    assert "Dashboard: 127.0.0.1:9000, also by the name tun.example or attic.lan" in explanation.text
    assert "'shed probes': shed/{device}/temp" in explanation.text


def test_the_embedded_broker_is_said_to_listen_to_everything(tmp_path: Path) -> None:
    explanation = explain.check(write(tmp_path, ""), None, {})
    assert "embedded, listening at 127.0.0.1:1883" in explanation.text
    assert "Listens to: everything" in explanation.text


def test_every_setting_has_a_dotted_name() -> None:
    assert "broker.host" in SETTINGS
    assert len(SETTINGS) == len(set(SETTINGS))


def test_decoding_is_explained_in_sentences(full: Path) -> None:
    settings = load(full, None, {})
    good = explain.decode(settings, "shed/p1/temp", b"68")
    assert good.good
    assert "rule shed probes" in good.text
    assert "temperature_c = 20 °C" in good.text
    assert "the time of receipt, as the message has no time" in good.text
    bad = explain.decode(settings, "home/tunroom/report/f", b'{"gravity_sg": "1.05"}')
    assert not bad.good
    assert "$.gravity_sg: expected a number" in bad.text


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "marked.toml"
    path.write_text("[server]\nport = 8601\n", encoding="utf-8-sig")
    assert load(path, None, {}).server.port == 8601


def test_a_name_that_stands_twice_gets_the_remedy_for_that(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="remove one of the two lines"):
        load(write(tmp_path, "[server]\nport = 1\nport = 2\n"), None, {})
