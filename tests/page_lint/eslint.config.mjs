// What the page's TypeScript and the browser tests must satisfy. `tests/lint` runs it; `tests/lint --fix` lays files out.
import stylistic from '@stylistic/eslint-plugin';
import hooks from 'eslint-plugin-react-hooks';
import typescript from 'typescript-eslint';

const layout = {
  '@stylistic/semi': ['error', 'always'],
  '@stylistic/quotes': ['error', 'single', { avoidEscape: true, allowTemplateLiterals: 'avoidEscape' }],
  '@stylistic/jsx-quotes': ['error', 'prefer-double'],
  '@stylistic/comma-dangle': ['error', { arrays: 'only-multiline', objects: 'only-multiline', functions: 'only-multiline', imports: 'only-multiline', exports: 'only-multiline' }],
  '@stylistic/no-trailing-spaces': 'error',
  '@stylistic/eol-last': 'error',
  '@stylistic/no-multiple-empty-lines': ['error', { max: 1, maxEOF: 0 }],
  '@stylistic/no-tabs': 'error',
  '@stylistic/keyword-spacing': 'error',
  '@stylistic/space-infix-ops': 'error',
  '@stylistic/space-before-blocks': 'error',
  '@stylistic/object-curly-spacing': ['error', 'always'],
  '@stylistic/array-bracket-spacing': 'error',
  '@stylistic/comma-spacing': 'error',
  '@stylistic/arrow-spacing': 'error',
  '@stylistic/arrow-parens': 'error',
  '@stylistic/brace-style': ['error', '1tbs', { allowSingleLine: true }],
  '@stylistic/max-len': ['error', { code: 200, ignoreStrings: true, ignoreTemplateLiterals: true, ignoreRegExpLiterals: true }],
};

const sense = {
  'eqeqeq': 'error',
  'prefer-const': ['error', { destructuring: 'all' }],
  'no-var': 'error',
  'no-implicit-coercion': ['error', { boolean: false }],
  'no-self-compare': 'error',
  'no-unmodified-loop-condition': 'error',
  'no-useless-return': 'error',
};

export default typescript.config(
  { ignores: ['**/node_modules/**', '**/dist/**', '**/built/**', '**/src/protocol.ts', '**/vite.config.js'] },
  {
    files: ['clients/companion/**/*.{ts,tsx}'],
    extends: [...typescript.configs.recommended],
    plugins: { '@stylistic': stylistic, 'react-hooks': hooks },
    linterOptions: { reportUnusedDisableDirectives: 'error' },
    rules: {
      ...layout, ...sense,
      'react-hooks/rules-of-hooks': 'error',
      '@typescript-eslint/no-non-null-assertion': 'off',
      '@typescript-eslint/no-unused-expressions': ['error', { allowTernary: true, allowShortCircuit: true }],
    },
  },
  {
    files: ['tests/browser/*.mjs', 'tests/page_lint/*.mjs', 'clients/companion/*.mjs'],
    plugins: { '@stylistic': stylistic },
    rules: { ...layout, ...sense, '@stylistic/max-len': 'off' },
  },
);
