import { register } from '../views'
import { AskView } from './view'

register({ id: 'ask', title: 'Ask', load: () => Promise.resolve(AskView), order: 10 })
