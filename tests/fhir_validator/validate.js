// Reads FHIR R4 resources as JSON, one a line; answers each with the JSON list of its errors.
// Warnings are left out: they say that a code is of another system where FHIR leaves that open.
"use strict";

const { createInterface } = require("node:readline");
const { Fhir } = require("fhir");

const fhir = new Fhir();
createInterface({ input: process.stdin }).on("line", (line) => {
  const answer = fhir.validate(JSON.parse(line), { errorOnUnexpected: true });
  const errors = answer.messages.filter(({ severity }) => ["error", "fatal"].includes(severity));
  process.stdout.write(
    JSON.stringify(errors.map(({ location, message }) => `${location}: ${message}`)) + "\n",
  );
});
