// Style of the scripts that are published. All but two are modules; those two stand in every page by themselves.

import js from "@eslint/js";
import globals from "globals";

const scripts = ["pages/assets/*.js"];

export default [
  { ignores: ["pages/assets/vendor/"] },  // as it was published, to the byte
  {
    files: ["pages/assets/**/*.js"],
    ...js.configs.recommended,
    languageOptions: { ecmaVersion: 2023, sourceType: "module", globals: globals.browser },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      ...js.configs.recommended.rules,
      "eqeqeq": "error",
      "no-console": "error",
      "no-eval": "error",
      "no-implicit-coercion": "error",
      "no-implicit-globals": "error",
      "no-implied-eval": "error",
      "no-param-reassign": "off",
      "no-shadow-restricted-names": "error",
      "no-throw-literal": "error",
      "no-unused-vars": ["error", { argsIgnorePattern: "^_", ignoreRestSiblings: true }],
      "no-var": "error",
      "no-useless-return": "error",
      "object-shorthand": "error",
      "prefer-const": ["error", { destructuring: "all" }],
      "prefer-template": "error",
    },
  },
  { files: scripts, languageOptions: { sourceType: "script" } },
];
