import { tree } from '../state/store'
import { AnswerList } from '../answer/list'
import { TreePanel } from '../answer/tree'
import { Builder } from './builder'

// AskView is the question with its answer, or the tree of it that is opened.
export function AskView() {
  if (tree.value !== null) return <TreePanel key={tree.value} id={tree.value} />
  return (
    <>
      <Builder />
      <AnswerList />
    </>
  )
}
