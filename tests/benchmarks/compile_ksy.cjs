// Print the Python of a .ksy file: node compile_ksy.cjs FILE, where the compiler is installed
// (npm install kaitai-struct-compiler@0.11.0 js-yaml@4.3.2). `.ci/run` compares it with pnp_card.py.
const fs = require("fs");
const { createRequire } = require("module");
const installed = createRequire(process.cwd() + "/");
const compiler = installed("kaitai-struct-compiler");
const tables = installed("js-yaml").load(fs.readFileSync(process.argv[2], "utf8"));
compiler.compile("python", tables, null, false).then(
  (files) => process.stdout.write(Object.values(files).join("")),
  (error) => { console.error(String(error)); process.exit(1); },
);
