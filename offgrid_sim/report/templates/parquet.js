/* A table as an Apache Parquet file: one row group, plain values, nothing compressed.

   Follows the file layout of github.com/apache/parquet-format (README, parquet.thrift) and the
   compact protocol of Apache Thrift. */
const parquet = (() => {
  const INT64 = 2, FLOAT = 4, REQUIRED = 0, PLAIN = 0, RLE = 3, DATA_PAGE = 0, UNCOMPRESSED = 0;

  /* thrift compact protocol: each value is [type, bytes]; a struct is fields in rising order */
  const varint = (value) => {
    const bytes = [];
    let rest = value;
    while (rest > 127) {
      bytes.push((rest % 128) | 128);
      rest = Math.floor(rest / 128);
    }
    return [...bytes, rest];
  };
  const i32 = (value) => [5, varint(2 * value)];
  const i64 = (value) => [6, varint(2 * value)];
  const flag = (value) => [value ? 1 : 2, []];
  const text = (value) => {
    const bytes = new TextEncoder().encode(value);
    return [8, [...varint(bytes.length), ...bytes]];
  };
  const list = (items) => {
    const kind = items[0][0], head = items.length < 15 ? [(items.length << 4) | kind] : [0xf0 | kind, ...varint(items.length)];
    return [9, [...head, ...items.flatMap((item) => item[1])]];
  };
  const struct = (fields) => {
    const bytes = [];
    let last = 0;
    for (const [id, [kind, value]] of Object.entries(fields)) {
      bytes.push(((Number(id) - last) << 4) | kind, ...value);
      last = Number(id);
    }
    return [12, [...bytes, 0]];
  };

  const bytesOf = (values) => new Uint8Array(values.buffer, values.byteOffset, values.byteLength);
  const isTime = (column) => column.utc !== undefined;
  const kindOf = (column) => (isTime(column) ? INT64 : FLOAT);
  const schemaOf = (column) => {
    const fields = { 1: i32(kindOf(column)), 3: i32(REQUIRED), 4: text(column.name) };
    if (isTime(column)) {
      const milliseconds = struct({ 1: struct({}) });
      fields[10] = struct({ 8: struct({ 1: flag(column.utc), 2: milliseconds }) });
    }
    return struct(fields);
  };
  const pageHead = (rows, size) => struct({
    1: i32(DATA_PAGE), 2: i32(size), 3: i32(size),
    5: struct({ 1: i32(rows), 2: i32(PLAIN), 3: i32(RLE), 4: i32(RLE) }),
  })[1];

  /* columns: {name, values: Float32Array} or {name, values: BigInt64Array of ms, utc: boolean} */
  return (rows, columns) => {
    const magic = new TextEncoder().encode("PAR1"), parts = [magic], chunks = [];
    let at = magic.length, total = 0;
    for (const column of columns) {
      const body = bytesOf(column.values);
      const head = Uint8Array.from(pageHead(rows, body.length)), size = head.length + body.length;
      chunks.push(struct({ 2: i64(at), 3: struct({
        1: i32(kindOf(column)), 2: list([i32(PLAIN)]), 3: list([text(column.name)]),
        4: i32(UNCOMPRESSED), 5: i64(rows), 6: i64(size), 7: i64(size), 9: i64(at),
      }) }));
      parts.push(head, body);
      at += size;
      total += size;
    }
    const root = struct({ 4: text("hours"), 5: i32(columns.length) });
    const footer = Uint8Array.from(struct({
      1: i32(1), 2: list([root, ...columns.map(schemaOf)]), 3: i64(rows),
      4: list([struct({ 1: list(chunks), 2: i64(total), 3: i64(rows) })]), 6: text("offgrid-sim"),
    })[1]);
    const length = new Uint8Array(4);
    new DataView(length.buffer).setUint32(0, footer.length, true);
    return [...parts, footer, length, magic];
  };
})();
