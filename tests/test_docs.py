"""The documentation says everything there is, and only what is there."""

from __future__ import annotations

import importlib.util
import re
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import typer

from thalweg.cli.main import app
from thalweg.evidence.bibliography import bibliography
from thalweg.exchange.casefile import read_casefile
from thalweg.record.concept import concepts
from thalweg.service.caseload import WANTED

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[1]
GENERATED = ROOT / "docs" / "reference"
LINK = re.compile(r"\]\(([^)\s]+)\)", re.DOTALL)


def documents() -> list[Path]:
    """Return every page that people write."""
    written = [ROOT.joinpath(name) for name in ("README.md", "CONTRIBUTING.md", "CHANGELOG.md")]
    docs = [path for path in (ROOT / "docs").rglob("*.md") if GENERATED not in path.parents]
    return sorted([*written, *docs])


def named(path: Path) -> str:
    """Return a path as the tests' names show it."""
    return str(path.relative_to(ROOT))


@cache
def reference() -> Any:
    """Return the tool that writes the reference pages."""
    spec = importlib.util.spec_from_file_location(
        "write_reference", ROOT / "tools" / "write_reference.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def parameters() -> Iterator[tuple[str, Any]]:
    """Yield each command's name with each of its arguments and options."""
    root: Any = typer.main.get_command(app)
    for name, command in root.commands.items():
        for parameter in command.params:
            yield name, parameter


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Return the reference pages by name."""
    folder = tmp_path_factory.mktemp("reference")
    reference().main(folder)
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}


def test_every_command_argument_and_option_has_help(written: dict[str, str]) -> None:
    root: Any = typer.main.get_command(app)
    page = written["commands.md"]
    for name, command in root.commands.items():
        assert command.help, name
        assert f"## thalweg {name}\n" in page
    seen = 0
    for name, parameter in parameters():
        assert parameter.help, (name, parameter.name)
        seen += 1
        if parameter.param_type_name == "option":
            assert all(option in page for option in parameter.opts), (name, parameter.opts)
    assert seen > 30


def test_every_concept_is_on_its_page(written: dict[str, str]) -> None:
    missing = [key for key in concepts() if f"| `{key}` |" not in written["concepts.md"]]
    assert missing == []


def test_every_method_is_on_its_page(written: dict[str, str]) -> None:
    page = " ".join(written["methods.md"].split())
    methods = list(reference().every_method())
    assert len(methods) > 20
    for method in methods:
        assert f"`{method.key}`" in page
        assert " ".join(method.formula.split()) in page
    # The methods that each finding of a plan names are among them.
    assert {"reach-margin", "diversion-appraisal", "ureter-length-on-course"} <= {
        method.key for method in methods
    }


def test_every_source_is_on_its_page(written: dict[str, str]) -> None:
    missing = [key for key in bibliography() if f"| `{key}` |" not in written["bibliography.md"]]
    assert missing == []


@pytest.mark.parametrize("path", documents(), ids=named)
def test_links_lead_to_files(path: Path) -> None:
    broken = []
    for target in LINK.findall(path.read_text(encoding="utf-8")):
        place, _, anchor = target.partition("#")
        if target.startswith(("http:", "https:", "mailto:")):
            continue
        file = (path.parent / place).resolve() if place else path
        # The reference is written by `make docs`; its pages have these names.
        if GENERATED in file.parents:
            if file.name not in reference().PAGES:
                broken.append(target)
        elif not file.exists() or (anchor and anchor not in anchors(file)):
            broken.append(target)
    assert broken == []


def anchors(path: Path) -> set[str]:
    """Return the anchors of a page's headings, as Markdown renderers make them."""
    heads = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


@pytest.mark.parametrize("path", documents(), ids=named)
def test_no_page_names_a_machine(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"(?<![\w.])/(work|home|root|tmp|Users|mnt)/", text)


def test_the_two_commands_are_there() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in ("demo", "test"):
        assert f"`make {target}`" in readme
        assert re.search(rf"^{target}:", makefile, re.MULTILINE)


def test_every_command_named_in_a_page_exists() -> None:
    root: Any = typer.main.get_command(app)
    known = set(root.commands)
    for path in documents():
        text = path.read_text(encoding="utf-8")
        used = set(re.findall(r"(?:`|\$ |bin/)thalweg ([a-z]+)\b", text))
        assert used <= known, path.name


def test_every_command_is_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    root: Any = typer.main.get_command(app)
    assert [name for name in root.commands if f"thalweg {name}" not in readme] == []


def test_every_option_in_a_page_s_commands_exists() -> None:
    options: dict[str, set[str]] = {}
    for name, parameter in parameters():
        options.setdefault(name, {"--help"}).update(parameter.opts)
    for path in documents():
        text = path.read_text(encoding="utf-8")
        for name, rest in re.findall(
            r"\$ (?:\.venv/bin/)?thalweg ([a-z]+)(.*)$", text, re.MULTILINE
        ):
            used = set(re.findall(r"(--[a-z0-9-]+)", rest))
            assert used <= options[name], (path.name, name)


def test_the_complete_case_file_in_the_docs_can_be_read(tmp_path: Path) -> None:
    page = ROOT.joinpath("docs", "case-folder.md").read_text(encoding="utf-8")
    (text,) = (
        block for block in re.findall(r"```toml\n(.*?)```", page, re.DOTALL) if "[person]" in block
    )
    file = tmp_path / "case.toml"
    file.write_text(text, encoding="utf-8")
    content = read_casefile(file, today=date(2026, 4, 1))
    recorded = {fact.concept for fact in content.facts}
    # All that a plan needs, as the service's own list of wants has it, but for the bloods and
    # the second ureter, which stand in other files or may be left out.
    assert set(WANTED) - recorded == {"creatinine", "ureter-right"}
