/** Rules for the scripts of the explore page and for their tests. */

import js from "@eslint/js";
import globals from "globals";

export default [
  { ignores: ["**/node_modules/"] },
  js.configs.recommended,
  {
    languageOptions: { globals: globals.browser },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      "array-callback-return": "error",
      complexity: ["error", 18],
      eqeqeq: "error",
      "max-len": ["error", { code: 140, ignoreTemplateLiterals: true, ignoreStrings: true, ignoreComments: false }],
      "max-lines": ["error", 600],
      "max-lines-per-function": ["error", 50],
      "no-implicit-coercion": "error",
      "no-shadow": "error",
      "no-unused-vars": ["error", { args: "all", argsIgnorePattern: "^_", varsIgnorePattern: "^_" }],
      "no-var": "error",
      "object-shorthand": "error",
      "prefer-const": "error",
    },
  },
  { files: ["tests/web/**"], languageOptions: { globals: globals.node }, rules: { "max-lines-per-function": "off" } },
];
