"""Call the command line in this process, as the installed command would be called.

Arguments, standard streams (the descriptors themselves, so that what writes past Python is caught
too), folder and environment are the call's own, and all are put back. The shipped schema files are
parsed once. Signals, limits, terminals and pipes need a process, which `copied` is; start-up and
locales one that starts a Python (`tool.started`).
"""

import contextlib
import functools
import importlib
import os
import signal
import subprocess
import sys
import tempfile
import threading
import traceback
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import IO, Any, TextIO, cast

import romtool.cli
from romtool.files import schemas
from romtool.files.packed import unpack
from romtool.schema import loading
from romtool.schema.catalog import Catalog
from romtool.toml.parse import parse_toml

PIPE_HOLDS = 1 << 16
"""Bytes that a new pipe takes without a reader (pipe(7))."""

AT_START = ("LANG", "LC_", "PYTHON", "LD_")
"""Beginnings of variables that a Python reads once, when it starts."""

_SHIPPED = schemas.shipped_folder()


@functools.cache
def _catalog() -> Catalog:
    return schemas.read_catalog()


def _unpack(folder: str | Path) -> Catalog | None:
    return _catalog() if Path(folder) == _SHIPPED else unpack(folder)


# The shipped schemas are loaded once in this process, and no schema text is parsed twice.
setattr(schemas, "unpack", _unpack)  # noqa: B010
setattr(loading, "parse_toml", functools.lru_cache(maxsize=128)(parse_toml))  # noqa: B010


def call(
    words: Sequence[str | bytes],
    *,
    stdin: bytes = b"",
    cwd: Path | None = None,
    env: Mapping[str, str] | None = None,
) -> subprocess.CompletedProcess[bytes]:
    """Run `romtool WORDS`; `env` is added to the environment, ROMTOOL_SCHEMAS left out of it."""
    more = dict(env or {})
    assert not any(name.startswith(AT_START) for name in more), "needs a process of its own"
    argv = ["romtool", *map(os.fsdecode, words)]
    with (
        tempfile.TemporaryFile() as out,
        tempfile.TemporaryFile() as err,
        _environment(more),
        _folder(cwd),
        _standard(stdin, out, err),
    ):
        code = _exit_code(argv)
        return subprocess.CompletedProcess(argv, code, _content(out), _content(err))


def copied(
    words: Sequence[str | bytes],
    *,
    env: Mapping[str, str] | None = None,
    before: Callable[[], object] = lambda: None,
    **streams: Any,
) -> subprocess.Popen[bytes]:
    """Run `romtool WORDS` in a copy of this process, which needs no Python to start.

    It is a process like any other: it can be killed, has descriptors, limits and a folder of its
    own (`streams` are those of Popen). `before` runs in it first. POSIX only.
    """
    argv = ["romtool", *map(os.fsdecode, words)]
    _load_all()

    def run() -> None:
        """Never return: what Popen would start is not wanted any more."""
        code = 1
        try:
            _as_after_exec()
            os.environ.pop("ROMTOOL_SCHEMAS", None)
            os.environ.update(env or {})
            sys.stdin = _stream(0, "r", "surrogateescape")
            sys.stdout = _stream(1, "w", "surrogateescape")
            sys.stderr = _stream(2, "w", "backslashreplace")
            before()
            code = _exit_code(argv)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)

    # The one thread that tests have holds no lock here.
    return subprocess.Popen([sys.executable], preexec_fn=run, **streams)  # noqa: PLW1509


@functools.cache
def _load_all() -> None:
    """Load here what each copy would have to load again."""
    _catalog()
    for name in romtool.cli.COMMANDS:
        importlib.import_module(f"romtool.commands.{name}")


def _as_after_exec() -> None:
    """Close what a new program doesn't inherit, and handle signals as a new Python does."""
    if sys.platform == "win32":
        raise NotImplementedError("no process can be copied here")
    for name in os.listdir("/dev/fd"):
        with contextlib.suppress(OSError):
            if not os.get_inheritable(int(name)):
                os.close(int(name))
    for ignored in (signal.SIGPIPE, signal.SIGXFSZ):
        signal.signal(ignored, signal.SIG_IGN)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for usual in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(usual, signal.SIG_DFL)


def _exit_code(argv: list[str]) -> int:
    """Call `main` as the installed script does; what it lets through ends as in a process."""
    before, sys.argv = sys.argv, argv
    try:
        with warnings.catch_warnings():
            for kind in (UserWarning, RuntimeWarning, SyntaxWarning):  # a process would show them
                warnings.simplefilter("error", kind)
            romtool.cli.main()
        code: object = None
    except SystemExit as end:
        code = end.code
    except BaseException:
        traceback.print_exc()
        code = 1
    finally:
        sys.argv = before
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
    if code is None or isinstance(code, int):
        return code or 0
    print(code, file=sys.stderr, flush=True)
    return 1


def _content(file: IO[bytes]) -> bytes:
    file.seek(0)
    return file.read()


@contextlib.contextmanager
def _folder(cwd: Path | None) -> Iterator[None]:
    with contextlib.chdir(cwd) if cwd else contextlib.nullcontext():
        yield


@contextlib.contextmanager
def _environment(more: Mapping[str, str]) -> Iterator[None]:
    before = dict(os.environ)
    os.environ.pop("ROMTOOL_SCHEMAS", None)
    os.environ.update(more)
    try:
        yield
    finally:
        if dict(os.environ) != before:
            os.environ.clear()
            os.environ.update(before)


@contextlib.contextmanager
def _standard(stdin: bytes, out: IO[bytes], err: IO[bytes]) -> Iterator[None]:
    """Let standard input be a pipe with these bytes, and standard output and error two files."""
    reading, writing = os.pipe()
    writer = None
    if len(stdin) <= PIPE_HOLDS:
        os.write(writing, stdin)
        os.close(writing)
    else:
        writer = threading.Thread(target=_feed, args=(writing, stdin))
        writer.start()
    streams = sys.stdin, sys.stdout, sys.stderr
    for stream in streams[1:]:
        stream.flush()
    kept = [os.dup(number) for number in range(3)]
    try:
        for number, handle in enumerate((reading, out.fileno(), err.fileno())):
            os.dup2(handle, number)
        os.close(reading)
        sys.stdin = _stream(0, "r", "surrogateescape")
        sys.stdout = _stream(1, "w", "surrogateescape")
        sys.stderr = _stream(2, "w", "backslashreplace")
        yield
    finally:
        for stream in (sys.stdin, sys.stdout, sys.stderr):
            if stream not in streams:
                stream.close()
        sys.stdin, sys.stdout, sys.stderr = streams
        for number, handle in enumerate(kept):
            os.dup2(handle, number)
            os.close(handle)
        if writer is not None:
            writer.join()


def _stream(number: int, mode: str, errors: str) -> TextIO:
    """A text stream as a Python in a UTF-8 locale begins with; the descriptor is not its own."""
    return cast(TextIO, open(number, mode, encoding="utf-8", errors=errors, closefd=False))


def _feed(writing: int, data: bytes) -> None:
    with contextlib.suppress(BrokenPipeError), open(writing, "wb") as pipe:
        pipe.write(data)
