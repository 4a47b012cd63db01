"""Write many rows of derived tables by one prepared statement each: a fraction of the time that model instances, a CASE over
thousands of keys, or an INSERT in parts of a few dozen rows take.

Call it inside a transaction: without one, every row would be a transaction of its own.
"""

from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import Any

from django.db import connection, models

Row = Sequence[Any]


def rows_insert(model: type[models.Model], names: Sequence[str], rows: Iterable[Row]) -> None:
    """Insert rows, each with the values of the named columns (attnames) in order. The caller sees to columns left out."""
    table, columns = _table(model), ", ".join(_column(model, name) for name in names)
    _run(f"INSERT INTO {table} ({columns}) VALUES ({_marks(names)})", _ready(model, names, rows))  # noqa: S608


def rows_put(model: type[models.Model], names: Sequence[str], rows: Iterable[Row], *, unique: Sequence[str]) -> None:
    """Insert rows, or where the unique columns are there already set the others."""
    table, columns = _table(model), ", ".join(_column(model, name) for name in names)
    there = ", ".join(_column(model, name) for name in unique)
    sets = ", ".join(f"{c} = EXCLUDED.{c}" for name in names if name not in unique for c in [_column(model, name)])
    put = f"INSERT INTO {table} ({columns}) VALUES ({_marks(names)}) ON CONFLICT ({there}) DO UPDATE SET {sets}"  # noqa: S608
    _run(put, _ready(model, names, rows))


def rows_update(model: type[models.Model], names: Sequence[str], rows: Iterable[Row]) -> None:
    """Set the named columns of rows, each [*values, key]."""
    key: Any = model._meta.pk
    sets = ", ".join(f"{_column(model, name)} = %s" for name in names)
    where = f"{_column(model, key.attname)} = %s"
    _run(f"UPDATE {_table(model)} SET {sets} WHERE {where}", _ready(model, [*names, key.attname], rows))  # noqa: S608


def rows_delete(model: type[models.Model], names: Sequence[str], rows: Iterable[Row]) -> None:
    """Delete the rows with these values of the named columns."""
    where = " AND ".join(f"{_column(model, name)} = %s" for name in names)
    _run(f"DELETE FROM {_table(model)} WHERE {where}", _ready(model, names, rows))  # noqa: S608


def _run(statement: str, rows: list[list[Any]]) -> None:
    if rows:
        with connection.cursor() as cursor:
            cursor.executemany(statement, rows)


def _table(model: type[models.Model]) -> str:
    return connection.ops.quote_name(model._meta.db_table)


def _column(model: type[models.Model], name: str) -> str:
    field: Any = model._meta.get_field(name.removesuffix("_id") if name.endswith("_id") else name)
    return connection.ops.quote_name(field.column)


def _marks(names: Sequence[str]) -> str:
    return ", ".join(["%s"] * len(names))


def _ready(model: type[models.Model], names: Sequence[str], rows: Iterable[Row]) -> list[list[Any]]:
    """Turn values into what the database's driver takes."""
    fields = {field.attname: field for field in model._meta.concrete_fields}
    casts = [_cast(fields[name]) for name in names]
    return [[v if v is None or cast is None else cast(v) for v, cast in zip(row, casts, strict=True)] for row in rows]


def _cast(field: models.Field) -> Callable[[Any], Any] | None:
    """Return how a field's value is made ready; None where the driver takes it as it is."""
    if isinstance(field, models.ForeignKey | models.IntegerField | models.BooleanField | models.FloatField):
        return None
    if isinstance(field, models.CharField | models.TextField):
        return str  # members of an enumeration are written as their values
    if isinstance(field, models.DateTimeField):
        return lru_cache(maxsize=64)(connection.ops.adapt_datetimefield_value)  # often one instant for all of them
    if isinstance(field, models.DateField):
        return connection.ops.adapt_datefield_value
    if isinstance(field, models.UUIDField) and not connection.features.has_native_uuid_field:
        return lambda value: value.hex
    return lambda value: field.get_db_prep_save(value, connection)
